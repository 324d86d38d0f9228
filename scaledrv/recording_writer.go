package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"twocup/scaledrv/reading"
)

// Recording is a Link that writes down what comes through another: bytes with their times as they are read, and as
// comments what was sent, openings, losses and gaps. The reading goroutine never waits for it: a goroutine writes, from
// a queue that may overflow, and then the gap is written down.
type Recording struct {
	link    Link
	log     *slog.Logger
	started time.Time
	queue   chan queued
	written chan struct{} // closed when all has been written

	mu     sync.Mutex // never held while something is written
	closed bool
	missed int    // bytes since the queue was full
	reason string // of the last failed opening in a row
}

// queued is a line of the recording, and how many bytes are missing before it.
type queued struct {
	missed int
	line   string
}

// Lines that wait for the disk: 20 s of a scale that sends 50 a second.
const maxQueued = 1000

// RecordingName is a file's name for a recording that starts at this time: bench-1-small-20261125T224100Z.log.
func RecordingName(station, scale string, start time.Time) string {
	return fmt.Sprintf("%s-%s-%s.log", station, scale, start.UTC().Format("20060102T150405Z"))
}

// CreateRecording makes the file of a new recording, never over another, in a folder that it makes if its parent
// exists.
func CreateRecording(path string) (*os.File, error) {
	if err := os.Mkdir(filepath.Dir(path), 0o777); err != nil && !errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("make the folder of a recording: %w (make it, or name another)", err)
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("start a recording: %w (a recording is never overwritten: move this one away, or name another)", err)
	}
	if err != nil {
		return nil, fmt.Errorf("start a recording: %w (name a folder that this user may write to)", err)
	}
	return file, nil
}

// Record puts a recording around a link that is read in this shape, from now on. The caller closes it, and then w. A nil
// log is silent; a failed write is logged once and ends the recording, not the reading.
func Record(link Link, w io.Writer, shape Shape, log *slog.Logger) *Recording {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	r := &Recording{link: link, log: log, started: time.Now(), queue: make(chan queued, maxQueued), written: make(chan struct{})}
	go r.write(w, fmt.Sprintf("# %s   link: %q   from: recorded %s\n", shape.entry(), link.Name(), r.started.UTC().Format(time.RFC3339)))
	return r
}

// entry is the shape as a recording's head tells it, with the options that it was given.
func (s Shape) entry() string {
	text := "shape: " + s.name
	if s.opt.Pattern != "" {
		text += "   pattern: '" + strings.ReplaceAll(s.opt.Pattern, "'", "''") + "'"
	}
	if s.opt.Unit != reading.UnitNone {
		text += "   unit: " + s.opt.Unit.String()
	}
	return text
}

// Name is the link's.
func (r *Recording) Name() string { return r.link.Name() }

// Open opens the link.
func (r *Recording) Open(ctx context.Context) (Port, error) { return r.open(ctx, r.link) }

func (r *Recording) open(ctx context.Context, link Link) (Port, error) {
	port, err := link.Open(ctx)
	r.noteOpening(err)
	if err != nil {
		return nil, err
	}
	return &recordedPort{port, r}, nil
}

// tunings is a tuner's: those of the link.
func (r *Recording) tunings() (bauds []int, frames []string) {
	if t, ok := r.link.(tuner); ok {
		return t.tunings()
	}
	return nil, nil
}

// tuned is a tuner's. What comes through it goes into the same recording.
func (r *Recording) tuned(baud int, frame string) Link {
	if t, ok := r.link.(tuner); ok {
		return tunedRecording{t.tuned(baud, frame), r}
	}
	return r
}

// tunedRecording is the link of a recording with other settings.
type tunedRecording struct {
	Link
	r *Recording
}

func (t tunedRecording) Open(ctx context.Context) (Port, error) { return t.r.open(ctx, t.Link) }

// noteOpening writes each reason down once: a device that stays away is tried every second.
func (r *Recording) noteOpening(err error) {
	reason := ""
	if err != nil {
		reason = err.Error()
	}
	r.mu.Lock()
	again := reason != "" && reason == r.reason
	r.reason = reason
	r.mu.Unlock()
	switch {
	case again:
	case err != nil:
		r.comment("not opened: " + reason)
	default:
		r.comment("opened")
	}
}

// Close ends the recording and waits until all is written, at most 1 s. What comes through the link later is not
// recorded.
func (r *Recording) Close() error {
	r.mu.Lock()
	if !r.closed {
		r.closed = true
		close(r.queue)
	}
	r.mu.Unlock()
	select {
	case <-r.written:
		return nil
	case <-time.After(time.Second):
		return fmt.Errorf("end the recording of %q: its last lines are not written after 1 s (the disk is slow or hangs: check it)", r.Name())
	}
}

// write is the recording's goroutine. After a failed write it takes lines and drops them.
func (r *Recording) write(w io.Writer, head string) {
	defer close(r.written)
	failed := false
	put := func(text string) {
		if failed || text == "" {
			return
		}
		if _, err := io.WriteString(w, text); err != nil {
			failed = true
			r.log.Error("recording ended", "link", r.Name(), "err", err, "do", "free or check the disk and start the program again; the scale is read on")
		}
	}
	put(head)
	for q := range r.queue {
		put(gap(q.missed) + q.line)
	}
	r.mu.Lock()
	missed := r.missed
	r.mu.Unlock()
	put(gap(missed))
}

func gap(missed int) string {
	if missed == 0 {
		return ""
	}
	return fmt.Sprintf("# gap: the disk was too slow, %d bytes are missing here\n", missed)
}

// add queues a line that stands for so many bytes of the scale. Its time is now.
func (r *Recording) add(bytes int, format string, text string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return
	}
	q := queued{r.missed, fmt.Sprintf(format, formatSeconds(time.Since(r.started)), text)}
	select {
	case r.queue <- q:
		r.missed = 0
	default:
		r.missed += bytes
	}
}

var oneLine = strings.NewReplacer("\r", " ", "\n", " ")

func (r *Recording) comment(text string) { r.add(0, "# %s %s\n", oneLine.Replace(text)) }

type recordedPort struct {
	Port
	r *Recording
}

func (p *recordedPort) Read(b []byte) (int, error) {
	n, err := p.Port.Read(b)
	for part := range slices.Chunk(b[:n], maxChunk) {
		p.r.add(len(part), "%s %s\n", strconv.QuoteToASCII(string(part)))
	}
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		p.r.comment("lost: " + err.Error())
	}
	return n, err
}

func (p *recordedPort) Write(b []byte) (int, error) {
	n, err := p.Port.Write(b)
	for part := range slices.Chunk(b[:n], maxChunk) {
		p.r.comment("sent " + strconv.QuoteToASCII(string(part)))
	}
	if err != nil {
		p.r.comment("not sent: " + err.Error())
	}
	return n, err
}
