package scaledrv

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"twocup/scaledrv/reading"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var statusCommaShape = shapeNamed("status-comma", ShapeOptions{})

// shapeNamed is a shape that exists.
func shapeNamed(name string, opt ShapeOptions) Shape {
	shape, err := ShapeByName(name, opt)
	if err != nil {
		panic(err)
	}
	return shape
}

// describe is a format's answer in words.
func describe(r parsed, err error) string {
	switch {
	case errors.Is(err, ErrNoReading):
		return "no reading"
	case err != nil:
		return "rejected: " + err.Error()
	}
	text := r.State.String()
	if r.State == reading.Normal {
		text = r.Value.String()
	}
	if r.Kind != reading.KindUnknown {
		text += " " + r.Kind.String()
	}
	if r.Motion != reading.MotionUnknown {
		text += " " + r.Motion.String()
	}
	return text
}

func (e Event) String() string {
	switch {
	case e.HasReading:
		return e.Link.String() + " " + describe(parsed{Reading: e.Reading}, nil)
	case e.Err != nil:
		return e.Link.String() + " " + e.Err.Error()
	}
	return e.Link.String()
}

// fakeLink opens pipes.
type fakeLink struct {
	wrap  func(port net.Conn) Port // around each port
	start time.Time

	mu     sync.Mutex
	fail   error           // of the next openings
	far    net.Conn        // the scale's end of the newest port
	opened []time.Duration // since the start, failed or not
}

func (l *fakeLink) Name() string { return "fake" }

func (l *fakeLink) Open(context.Context) (Port, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.opened = append(l.opened, time.Since(l.start))
	if l.fail != nil {
		return nil, l.fail
	}
	var near net.Conn
	near, l.far = net.Pipe()
	if l.wrap != nil {
		return l.wrap(near), nil
	}
	return near, nil
}

func (l *fakeLink) failWith(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fail = err
}

func (l *fakeLink) scale() net.Conn {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.far
}

func (l *fakeLink) tries() []time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.opened)
}

// bench is a driver on a fake link, in a bubble.
type bench struct {
	*testing.T
	*Driver
	link *fakeLink
	log  bytes.Buffer
	stop context.CancelFunc
}

// onBench runs a test with its driver started; afterwards the driver must end at once and close its port.
func onBench(t *testing.T, link *fakeLink, test func(b *bench)) {
	t.Helper()
	onBenchWith(t, link, Options{}, test)
}

func onBenchWith(t *testing.T, link *fakeLink, opt Options, test func(b *bench)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		b := &bench{T: t, link: link, stop: stop}
		link.start = time.Now()
		opt.Log = slog.New(slog.NewTextHandler(&b.log, nil))
		b.Driver = Start(ctx, link, statusCommaShape, opt)
		synctest.Wait()
		test(b)
		cancelled := time.Now()
		stop()
		for range b.Events() {
		}
		require.Zero(t, time.Since(cancelled))
		if scale := link.scale(); scale != nil {
			_, err := scale.Write([]byte("x"))
			require.Error(t, err, "the port is still open")
		}
		b.pass(time.Second) // a listener may be about to answer
	})
}

// send gives bytes to the driver and waits until it has read them.
func (b *bench) send(text string) {
	b.Helper()
	_, err := b.link.scale().Write([]byte(text))
	require.NoError(b, err)
	synctest.Wait()
}

// pass lets time go by.
func (b *bench) pass(d time.Duration) {
	time.Sleep(d) // the bubble's time
	synctest.Wait()
}

// happened takes the events since the last call.
func (b *bench) happened() (events []string) {
	for {
		select {
		case e, open := <-b.Events():
			if !open {
				return append(events, "closed")
			}
			events = append(events, e.String())
		default:
			return events
		}
	}
}
