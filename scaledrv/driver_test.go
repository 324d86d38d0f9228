package scaledrv

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

const line1, line2, line3 = "ST,+0001.0 g\r\n", "ST,+0002.0 g\r\n", "ST,+0003.0 g\r\n"

// The hang-up of a pipe is io.EOF.
const hungUp = `down read "fake": EOF (hung up or unplugged: check the adapter and its cable)`

func TestReadingsComeInTheirOrderWithTheTimeTheirLineEnded(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.send("23.4 g\r\n" + line1)
		require.Empty(t, b.happened(), "half a line and a first line are no readings")
		b.send("ST,+0002")
		b.pass(40 * time.Millisecond)
		ended := time.Now()
		b.send(".0 g\r\n" + line3)
		for _, want := range []string{"up 2.0 g stable", "up 3.0 g stable"} {
			e := <-b.Events()
			require.Equal(t, want, e.String())
			require.Equal(t, ended, e.Reading.At)
		}
		require.Equal(t, Stats{Readings: 2, Bytes: 50}, b.Stats())
	})
}

func TestASilentScaleIsSaidToBeSilentAtItsLimitAndNotBefore(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.pass(2*time.Second - 1)
		require.Empty(t, b.happened(), "counted from the opening")
		b.pass(1)
		require.Equal(t, []string{"silent"}, b.happened())

		b.send("\r\n" + line1 + line2)
		require.Equal(t, []string{"up 2.0 g stable"}, b.happened())
		b.pass(2*time.Second - 1)
		require.Empty(t, b.happened())
		b.send(line3)
		require.Equal(t, []string{"up 3.0 g stable"}, b.happened(), "just in time")
		b.pass(2*time.Second - 1)
		require.Empty(t, b.happened())
		b.pass(1)
		require.Equal(t, []string{"silent"}, b.happened())
		b.pass(time.Hour)
		require.Empty(t, b.happened(), "said once")
		b.send(line1)
		require.Equal(t, []string{"up 1.0 g stable"}, b.happened())
		require.Zero(t, b.Stats().Reconnects)
	})
}

func TestOnlyReadingsBreakTheSilence(t *testing.T) {
	for _, tt := range []struct{ name, line string }{
		{"rubbish", "\xff\x00\xff\x00"},
		{"damaged lines", "T,+0001.0 g\r\n"},
		{"tare lines", "ST,TR,+0001.0 g\r\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			onBench(t, &fakeLink{}, func(b *bench) {
				b.send("\r\n" + line1 + line2)
				b.happened()
				for range 19 {
					b.pass(100 * time.Millisecond)
					b.send(tt.line)
				}
				require.Empty(t, b.happened())
				b.pass(100 * time.Millisecond)
				require.Equal(t, []string{"silent"}, b.happened())
				b.send(tt.line)
				require.Empty(t, b.happened())
			})
		})
	}
}

func TestALostPortIsSaidToBeDownAtTheFirstFailedReadAndComesBack(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.send("\r\n" + line1 + line2 + "ST,+00")
		b.happened()
		b.link.scale().Close()
		synctest.Wait()
		require.Equal(t, []string{hungUp}, b.happened())
		b.pass(100 * time.Millisecond)
		require.Len(t, b.link.tries(), 2)
		require.EqualValues(t, 1, b.Stats().Reconnects)

		b.send("03.0 g\r\n")
		require.Empty(t, b.happened(), "the parts of a line on either side of the loss are not joined")
		b.send(line1)
		require.Empty(t, b.happened(), "the first line after opening waits for its second")
		b.send(line2)
		require.Equal(t, []string{"up 2.0 g stable"}, b.happened())
		require.Equal(t, Stats{Readings: 2, Bytes: 72, Reconnects: 1}, b.Stats())
	})
}

func TestASilentPortThatIsLostIsDown(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.pass(2 * time.Second)
		b.link.scale().Close()
		b.pass(100*time.Millisecond + 2*time.Second - 1)
		require.Equal(t, []string{"silent", hungUp}, b.happened(), "open again, and down until something comes or the limit")
		b.pass(1)
		require.Equal(t, []string{"silent"}, b.happened())
	})
}

func TestAPortThatStaysAwayIsTriedAgainAtLeastOnceASecond(t *testing.T) {
	link := &fakeLink{fail: &LinkError{Op: "open serial port", Device: "/dev/ttyUSB0", Err: syscall.ENOENT}}
	onBench(t, link, func(b *bench) {
		b.pass(4 * time.Second)
		require.Equal(t, []string{`down open serial port "/dev/ttyUSB0": no such file or directory`}, b.happened(), "said once")
		ms := time.Millisecond
		require.Equal(t, []time.Duration{0, 100 * ms, 300 * ms, 700 * ms, 1500 * ms, 2500 * ms, 3500 * ms}, link.tries())
		require.Zero(t, b.Stats().Reconnects)

		link.failWith(&LinkError{Op: "open serial port", Device: "/dev/ttyUSB0", Err: syscall.EACCES})
		b.pass(time.Second)
		require.Equal(t, []string{`down open serial port "/dev/ttyUSB0": permission denied`}, b.happened(), "another reason is told")

		link.failWith(nil)
		b.pass(time.Second)
		require.Empty(t, b.happened())
		b.send("\r\n" + line1 + line2)
		require.Equal(t, []string{"up 2.0 g stable"}, b.happened())
		require.Zero(t, b.Stats().Reconnects, "it was never lost")
		lost, tries := time.Since(link.start), len(link.tries())
		link.scale().Close()
		b.pass(100 * ms)
		require.Equal(t, []time.Duration{lost + 100*ms}, link.tries()[tries:], "after a reading the waits begin anew")
	})
}

func TestAPortThatOpensAndFailsAtOnceIsNoBusyLoop(t *testing.T) {
	link := &fakeLink{wrap: func(port net.Conn) Port {
		return &brokenPort{Conn: port, read: func() (int, error) { return 0, io.EOF }}
	}}
	onBench(t, link, func(b *bench) {
		b.pass(10 * time.Second)
		require.Equal(t, []string{hungUp}, b.happened())
		require.Len(t, link.tries(), 13) // at 0, 0.1, 0.3, 0.7, 1.5, 2.5 ... 9.5 s
		require.EqualValues(t, 12, b.Stats().Reconnects)
	})
}

// brokenPort is a port that reads in its own way.
type brokenPort struct {
	net.Conn
	read     func() (int, error)
	closeErr error
}

func (p *brokenPort) Read([]byte) (int, error) { return p.read() }

func (p *brokenPort) Close() error { return errors.Join(p.Conn.Close(), p.closeErr) }

func TestAPanicInALibrarysReadIsALinkError(t *testing.T) {
	link := &fakeLink{wrap: func(port net.Conn) Port {
		return &brokenPort{Conn: port, read: func() (int, error) { panic("index out of range [1024]") }}
	}}
	onBench(t, link, func(b *bench) {
		e := <-b.Events()
		require.Equal(t, `down read "fake": panic: index out of range [1024]`, e.String())
		_, ok := errors.AsType[*LinkError](e.Err)
		require.True(t, ok)
		b.pass(100 * time.Millisecond)
		require.Len(t, link.tries(), 2)
	})
}

func TestAFailedCloseIsLoggedAndEndsNothing(t *testing.T) {
	link := &fakeLink{wrap: func(port net.Conn) Port {
		return &brokenPort{Conn: port, read: func() (int, error) { return 0, io.EOF }, closeErr: errors.New("no")}
	}}
	onBench(t, link, func(b *bench) {
		b.pass(100 * time.Millisecond)
		require.Len(t, link.tries(), 2)
		require.Contains(t, b.log.String(), `msg="close port" link=fake err=no`)
	})
}

func TestThereIsOneLogLineForEachChange(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.send("\r\n" + line1 + line2 + line3 + line1)
		b.pass(10 * time.Second)
		b.link.scale().Close()
		synctest.Wait()
		b.link.failWith(io.EOF)
		b.pass(10 * time.Second)
		b.link.failWith(nil)
		b.pass(time.Second)
		b.send("\r\n" + line1 + line2 + line3 + line1)
		var said []string
		for line := range strings.Lines(b.log.String()) {
			_, message, _ := strings.Cut(strings.TrimSpace(line), "level=")
			said = append(said, message)
		}
		require.Equal(t, []string{
			`INFO msg="scale is read" link=fake was=down`,
			`WARN msg="scale is silent" link=fake for=2s advice="Nothing comes from the scale: see that it is switched on, that it sends by itself or has a request in its entry, and that its cable is in"`,
			`WARN msg="scale lost" link=fake err="read \"fake\": EOF (hung up or unplugged: check the adapter and its cable)" next_try=100ms`,
			`WARN msg="scale lost" link=fake err="open \"fake\": EOF (hung up or unplugged: check the adapter and its cable)" next_try=200ms`,
			`INFO msg="scale is read" link=fake was=down`,
		}, said)
	})
}

func TestAFullChannelHoldsTheDriverBackAndLosesNothing(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		far := b.link.scale()
		go func() {
			_, _ = far.Write([]byte("\r\nST,+0000.0 g\r\n"))
			for i := 1; i <= 200; i++ {
				_, _ = fmt.Fprintf(far, "ST,+%04d.0 g\r\n", i)
			}
		}()
		synctest.Wait()
		require.Len(t, b.Events(), 64)
		for i := 1; i <= 200; i++ {
			require.Equal(t, fmt.Sprintf("up %d.0 g stable", i), (<-b.Events()).String())
		}
	})
}

// That the driver then ends at once and closes its port is checked by onBench.
func TestTheEndOfTheContextEndsTheDriver(t *testing.T) {
	for _, tt := range []struct {
		name string
		link *fakeLink
		test func(b *bench)
	}{
		{"while it reads", &fakeLink{}, func(b *bench) {}},
		{"while it is silent and reads without a deadline", &fakeLink{}, func(b *bench) { b.pass(time.Minute) }},
		{"while it waits for the next opening", &fakeLink{fail: io.EOF}, func(b *bench) { b.pass(time.Second) }},
		{"while nobody takes its events", &fakeLink{}, func(b *bench) {
			far := b.link.scale()
			go func() { _, _ = far.Write([]byte("\n" + strings.Repeat(line1, 100))) }()
			synctest.Wait()
			require.Len(b, b.Events(), 64)
		}},
	} {
		t.Run(tt.name, func(t *testing.T) { onBench(t, tt.link, tt.test) })
	}
}

func TestStaleAfterIsAsGiven(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := Start(t.Context(), &fakeLink{}, statusCommaShape, Options{StaleAfter: 5 * time.Second})
		started := time.Now()
		require.Equal(t, "silent", (<-d.Events()).String())
		require.Equal(t, 5*time.Second, time.Since(started))
	})
}

func TestLinkStatesHaveTheContractsWords(t *testing.T) {
	require.Equal(t, []string{"up", "silent", "down"}, []string{LinkUp.String(), LinkSilent.String(), LinkDown.String()})
}

func BenchmarkDriver(b *testing.B) {
	link := &fakeLink{}
	opened := make(chan net.Conn, 1)
	link.wrap = func(port net.Conn) Port { opened <- link.far; return port }
	d := Start(b.Context(), link, statusCommaShape, Options{Log: slog.New(slog.DiscardHandler)})
	far := <-opened
	if _, err := far.Write([]byte("\r\n" + line1)); err != nil {
		b.Fatal(err)
	}
	line := []byte(line2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := far.Write(line); err != nil {
			b.Fatal(err)
		}
		<-d.Events()
	}
}
