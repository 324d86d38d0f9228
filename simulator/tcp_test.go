package simulator

import (
	"bufio"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func newTCP(t *testing.T, charDelay time.Duration) *TCP {
	t.Helper()
	line, err := ListenTCP("127.0.0.1:0", charDelay)
	require.NoError(t, err)
	t.Cleanup(func() { line.Close() })
	return line
}

// connect makes a client with a deadline for all of the test.
func connect(t *testing.T, line *TCP) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", line.Address())
	require.NoError(t, err)
	require.NoError(t, c.SetDeadline(time.Now().Add(10*time.Second)))
	t.Cleanup(func() { c.Close() })
	return c
}

// served waits until the port has taken a client.
func served(t *testing.T, line *TCP) {
	t.Helper()
	require.Eventually(t, func() bool {
		line.mu.Lock()
		defer line.mu.Unlock()
		return line.client != nil
	}, 10*time.Second, time.Millisecond)
}

func TestABenchOnATCPPortSendsWholeLinesAndAnswers(t *testing.T) {
	line := newTCP(t, 0)
	b := newBench(t, Options{Scale: ScaleOptions{Shape: "letter-status", OnRequest: []byte("SI\r\n"), RateHz: 50, Baud: 115200}})
	stop := start(t, b, line)
	defer stop()
	for range 2 { // the second takes the place of the first
		c := connect(t, line)
		answers := bufio.NewReader(c)
		for range 3 {
			_, err := io.WriteString(c, "SI\r\n")
			require.NoError(t, err)
			answer, err := answers.ReadString('\n')
			require.NoError(t, err)
			require.Regexp(t, `^S [SD]       [ -]0\.\d g\r\n$`, answer)
		}
		require.NoError(t, c.Close())
		require.Eventually(t, func() bool {
			line.mu.Lock()
			defer line.mu.Unlock()
			return line.client == nil
		}, 10*time.Second, time.Millisecond)
	}
}

func TestAPortTakesOneClientAtATime(t *testing.T) {
	line := newTCP(t, 0)
	first := connect(t, line)
	served(t, line)
	second := connect(t, line)
	_, err := second.Read(make([]byte, 1))
	require.Error(t, err)
	require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "it is hung up on")
	_, err = line.Write([]byte("to the first"))
	require.NoError(t, err)
	got := make([]byte, len("to the first"))
	_, err = io.ReadFull(first, got)
	require.NoError(t, err)
	require.Equal(t, "to the first", string(got))
}

func TestWhatNobodyIsThereToTakeIsLost(t *testing.T) {
	line := newTCP(t, 0)
	_, err := line.Write([]byte("old"))
	require.NoError(t, err)
	c := connect(t, line)
	served(t, line)
	_, err = line.Write([]byte("new"))
	require.NoError(t, err)
	got := make([]byte, 3)
	_, err = io.ReadFull(c, got)
	require.NoError(t, err)
	require.Equal(t, "new", string(got))
}

func TestUnpluggedThePortHangsUpAndTakesTheNext(t *testing.T) {
	line := newTCP(t, 0)
	line.Unplug() // nobody is there
	c := connect(t, line)
	served(t, line)
	line.Unplug()
	_, err := c.Read(make([]byte, 1))
	require.ErrorIs(t, err, io.EOF)
	connect(t, line)
	served(t, line)
}

func TestAClosedPortIsRefusedAndItsReaderEnds(t *testing.T) {
	line := newTCP(t, 0)
	c := connect(t, line)
	served(t, line)
	ended := make(chan error, 1)
	go func() {
		_, err := line.Read(make([]byte, 1))
		ended <- err
	}()
	require.NoError(t, line.Close())
	require.Error(t, <-ended)
	_, err := c.Read(make([]byte, 1))
	require.ErrorIs(t, err, io.EOF)
	_, err = line.Write([]byte("x"))
	require.ErrorIs(t, err, net.ErrClosed)
	_, err = net.Dial("tcp", line.Address())
	require.Error(t, err)
}

func TestACharacterDelayCollectsBytes(t *testing.T) {
	line := newTCP(t, time.Hour)
	c := connect(t, line)
	served(t, line)
	half := strings.Repeat("x", mostInPacket/2)
	_, err := line.Write([]byte(half))
	require.NoError(t, err)
	require.Len(t, line.packet, len(half), "it waits for more")
	_, err = line.Write([]byte(half))
	require.NoError(t, err)
	got := make([]byte, mostInPacket)
	_, err = io.ReadFull(c, got)
	require.NoError(t, err, "a full packet goes out")

	soon := newTCP(t, time.Millisecond)
	c = connect(t, soon)
	served(t, soon)
	for range 2 {
		_, err = soon.Write([]byte("line\r\n"))
		require.NoError(t, err)
		_, err = io.ReadFull(c, got[:6])
		require.NoError(t, err, "after the delay it goes out by itself")
	}
}

func TestAPortThatCannotBeSaysWhatToDo(t *testing.T) {
	line := newTCP(t, 0)
	_, err := ListenTCP(line.Address(), 0)
	require.ErrorContains(t, err, "give another address")
	_, err = ListenTCP("127.0.0.1:0", -1)
	require.ErrorContains(t, err, "character delay of -1ns")
	require.False(t, errors.Is(err, net.ErrClosed))
}
