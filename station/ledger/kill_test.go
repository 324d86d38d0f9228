package ledger

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"twocup/station/batch"
)

var kills = flag.Int("kills", 8, "how often a writing process is killed")

// TestMain runs the tests, or is the other process that some of them need.
func TestMain(m *testing.M) {
	if what, dir, is := strings.Cut(os.Getenv("LEDGER_TEST_CHILD"), " "); is {
		if err := beChild(what, dir); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

// beChild opens the ledger and says so. "hold" then starts a batch for each line that it reads; "write" writes without
// end, events and traces, and says what is durable.
func beChild(what, dir string) error {
	l, err := Open(dir)
	if err != nil {
		return err
	}
	defer l.Close()
	fmt.Println("open")
	ctx := context.Background()
	if what == "hold" {
		in := bufio.NewScanner(os.Stdin)
		for n := 0; in.Scan(); n++ {
			if err := l.Append(ctx, childID(n), childFact(childID(n), 0)); err != nil {
				return err
			}
			fmt.Println("appended")
		}
		return nil
	}
	list, _, err := l.Batches(ctx, Query{Limit: 1 << 30})
	if err != nil {
		return err
	}
	for n := len(list); ; n++ {
		for fact := range 5 {
			if err := l.Append(ctx, childID(n), childFact(childID(n), fact)); err != nil {
				return err
			}
			fmt.Println("durable", n, fact)
			if err := l.AppendTrace(ctx, childID(n), pourTrace(20)); err != nil {
				return err
			}
			fmt.Println("traced", n, fact)
		}
	}
}

func childID(n int) string { return fmt.Sprintf("c%06d", n) }

func childFact(id string, n int) batch.Fact {
	if n == 0 {
		return batch.Started{At: noon, ID: id, Station: "bench-1"}
	}
	return batch.Noted{At: noon.Add(time.Duration(n)), Text: strings.Repeat("x", n*100)}
}

// child is another process that has a ledger open.
type child struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Scanner
}

func startChild(t testing.TB, what, dir string) *child {
	t.Helper()
	c := &child{cmd: exec.Command(os.Args[0])}
	c.cmd.Env = append(os.Environ(), "LEDGER_TEST_CHILD="+what+" "+dir)
	var err error
	c.in, err = c.cmd.StdinPipe()
	require.NoError(t, err)
	out, err := c.cmd.StdoutPipe()
	require.NoError(t, err)
	c.out = bufio.NewScanner(out)
	require.NoError(t, c.cmd.Start())
	t.Cleanup(c.kill)
	return c
}

func (c *child) tell(t testing.TB, line string) {
	t.Helper()
	_, err := fmt.Fprintln(c.in, line)
	require.NoError(t, err)
}

func (c *child) expect(t testing.TB, line string) {
	t.Helper()
	require.True(t, c.out.Scan(), "the other process has ended")
	require.Equal(t, line, c.out.Text())
}

// kill ends it with SIGKILL.
func (c *child) kill() {
	_ = c.cmd.Process.Kill()
	_ = c.cmd.Wait()
}

// What a process has said to be durable is there after it was killed, at any moment, and the chain is whole. The
// moments are spread over its start, the lines that it prints and what it does between them.
func TestAKilledProcessLosesNothing(t *testing.T) {
	dir := t.TempDir()
	seed := uint64(*kills)
	random := rand.New(rand.NewPCG(seed, 1))
	durable := map[int]int{} // of each batch, how many facts
	traced := map[int]int{}
	head := ""
	for range *kills {
		c := startChild(t, "write", dir)
		lines, after := random.IntN(62)-2, time.Duration(random.IntN(2000))*time.Microsecond
		if lines == -2 { // while it starts
			after *= 20
		}
		for n := -2; ; n++ {
			if n == lines { // go on reading until its pipe ends: what it said before it died counts
				time.AfterFunc(after, func() { _ = c.cmd.Process.Kill() })
			}
			if !c.out.Scan() {
				break
			}
			var what string
			var id, fact int
			if _, err := fmt.Sscan(c.out.Text(), &what, &id, &fact); c.out.Text() != "open" {
				require.NoError(t, err, c.out.Text())
			}
			switch what {
			case "durable":
				durable[id] = fact + 1
			case "traced":
				traced[id] = fact + 1
			}
		}
		_ = c.cmd.Wait()
		head = requireDurable(t, dir, durable, traced, head)
	}
	events := 0
	for _, n := range durable {
		events += n
	}
	t.Logf("%d kills, %d acknowledged events, none lost", *kills, events)
}

// requireDurable reads the ledger as a stopped one and then as the daemon that starts again, and gives the head.
func requireDurable(t *testing.T, dir string, durable, traced map[int]int, head string) string {
	t.Helper()
	r, err := OpenReader(dir)
	require.NoError(t, err)
	seen, err := r.Head(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Close())
	l, err := Open(dir)
	require.NoError(t, err)
	defer l.Close()
	for id, n := range durable {
		entries, err := l.Entries(t.Context(), childID(id))
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(entries), n)
		for i := range n {
			require.Equal(t, childFact(childID(id), i), entries[i].Fact)
		}
		points, _, err := l.Trace(t.Context(), childID(id))
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(points), 20*traced[id])
	}
	report, err := l.Verify(t.Context(), head)
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.Equal(t, seen, report.Head, "a reader of what a killed process left sees what the next daemon sees")
	return report.Head
}
