package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"
)

// replayLink plays a recording, once: what was poured is not poured twice because the driver opens the link again.
type replayLink struct {
	path   string
	speed  float64 // times the original; 0.1 to 1000
	played bool    // a port has been opened
}

// parseReplay reads what follows "replay:". The path may be relative to the working directory.
func parseReplay(text string) (*replayLink, error) {
	path, query, _ := strings.Cut(text, "?")
	if path == "" {
		return nil, errors.New("no file: write it as replay:file.log or replay:file.log?speed=4")
	}
	settings := map[string]string{"speed": "1"}
	if err := readSettings(settings, query); err != nil {
		return nil, err
	}
	speed, err := strconv.ParseFloat(settings["speed"], 64)
	if err != nil || !(speed >= 0.1 && speed <= 1000) {
		return nil, fmt.Errorf("speed=%s: use a number from 0.1 to 1000; 1 is the original timing", settings["speed"])
	}
	return &replayLink{path: path, speed: speed}, nil
}

// Name is the path as configured.
func (l *replayLink) Name() string { return l.path }

// tunings is a tuner's: a recording has no settings.
func (l *replayLink) tunings() (bauds []int, frames []string) { return nil, nil }

// tuned is a tuner's: the recording apart from this link, so that what was identified on is still to be played.
func (l *replayLink) tuned(int, string) Link { return &replayLink{path: l.path, speed: l.speed} }

// errRecordingEnded is the end of a replay, and of every opening after the first.
var errRecordingEnded = errors.New("the recording has ended")

func (l *replayLink) fail(err error) *LinkError {
	do := "correct the path, or the file's permissions"
	if damaged, ok := errors.AsType[*recordingError](err); ok {
		do = fmt.Sprintf("correct line %d, or take it out", damaged.Line)
	}
	if err == errRecordingEnded {
		do = "it is played once: start the program again to play it anew"
	}
	known := linkError("play recording", l.path, err)
	known.Do = do
	return known
}

// Open plays from the beginning. The error is a *LinkError.
func (l *replayLink) Open(context.Context) (Port, error) {
	if l.played {
		return nil, l.fail(errRecordingEnded)
	}
	file, err := os.Open(l.path)
	if err != nil {
		return nil, l.fail(err)
	}
	l.played = true
	near, far := net.Pipe() // has the deadlines, and holds nothing back in a buffer
	p := &replayPort{Conn: near, closing: make(chan struct{}), played: make(chan struct{})}
	go func() {
		defer close(p.played)
		defer file.Close()
		p.end = l.fail(l.play(newRecordingReader(file), far, p.closing))
		far.Close()
	}()
	return p, nil
}

// play hands chunks out at their times, or as soon after as they are taken. It returns why it has ended.
func (l *replayLink) play(r *recordingReader, to io.Writer, closing <-chan struct{}) error {
	started := time.Now()
	for {
		c, err := r.next()
		if err == io.EOF {
			return errRecordingEnded
		}
		if err != nil {
			return err
		}
		due := started.Add(time.Duration(float64(c.at) / l.speed))
		select {
		case <-time.After(time.Until(due)):
		case <-closing:
			return net.ErrClosed
		}
		if _, err := to.Write(c.bytes); err != nil {
			return err // our port was closed
		}
	}
}

// replayPort is the reader's end of a pipe. Nobody listens at the other.
type replayPort struct {
	net.Conn
	end     error         // why playing has ended; written before the pipe's other end is closed
	once    sync.Once     // of Close
	closing chan struct{} // closed by Close
	played  chan struct{} // closed when playing has ended
}

func (p *replayPort) Read(b []byte) (int, error) {
	n, err := p.Conn.Read(b)
	if err == io.EOF {
		err = p.end
	}
	return n, err
}

// SetReadDeadline takes no notice of a pipe that has ended: the next Read says why.
func (p *replayPort) SetReadDeadline(t time.Time) error {
	if err := p.Conn.SetReadDeadline(t); err != io.ErrClosedPipe {
		return err
	}
	return nil
}

// Write sends nothing: a request was answered, if at all, when the recording was made.
func (p *replayPort) Write(b []byte) (int, error) { return len(b), nil }

func (p *replayPort) Close() error {
	p.once.Do(func() { close(p.closing) })
	err := p.Conn.Close()
	<-p.played
	return err
}

// RecordingEnded says whether a link is down because its recording has been played to the end.
func RecordingEnded(err error) bool { return errors.Is(err, errRecordingEnded) }
