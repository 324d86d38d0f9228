package scaledrv

import (
	"context"
	"errors"
	"os"
	"time"
)

// How long a setting is listened to. A scale that sends once a second must be heard at each of eight speeds, and long enough
// at the right one, within 15 s.
const (
	silence  = 1200 * time.Millisecond // without a byte: longer than between two lines of a scale that sends once a second
	between  = 100 * time.Millisecond  // two judgements while bytes come without a pause
	pause    = 60 * time.Millisecond   // between two lines; a converter hands over what it has every 16 ms (common practice)
	hopeless = 3200 * time.Millisecond // text comes, and no two whole lines
	hopeful  = 4200 * time.Millisecond // whole lines come, and others between them; the least in the second pass
	telltale = 4 * time.Second         // the least, since lines came that several shapes explain
	inAll    = 14 * time.Second        // so long such lines are waited on, since the search began: somebody may act at the scale

	shortLine   = enoughLength + 1 // bytes; at a speed far too slow a line is heard as fewer
	fewRubbish  = 16               // bytes that are no text
	muchText    = 150              // bytes of text without a line
	threeBursts = 3                // of text without a line: half a line, and two that must be alike
	noPause     = time.Second      // of bytes without a line: a line takes a fifth of that at the slowest speed
)

// ear is what came at one setting so far.
type ear struct {
	found
	pass   int
	begun  time.Duration // since the search began
	bursts int           // that are over
	open   bool          // bytes came since the last pause
	first  time.Duration // when the first came
	last   time.Duration // when the newest came
	judged time.Duration // when it was last judged
	lived  time.Duration // when something first explained what came; 0: nothing has
}

// listen opens the link, hears what comes until enough is known, and closes it. A recording that has ended is heard.
func (s *search) listen(ctx context.Context, set setting, pass int) (found, error) {
	e := ear{found: found{setting: set}, pass: pass, begun: time.Since(s.started)}
	err := onPort(ctx, set.link, func(port Port) error {
		s.tell("listening%s", set.atBaud())
		began := time.Now()
		for {
			until := e.until()
			chunk, err := readUntil(ctx, port, began.Add(until))
			at, before := time.Since(began), e.advice
			e.hear(at, chunk)
			if e.advice != before && e.advice != "" {
				s.tell("%s", e.advice)
			}
			if err != nil {
				return err
			}
			if e.sure || e.over(at) {
				return nil
			}
		}
	})
	if errors.Is(err, errRecordingEnded) && (len(e.came) > 0 || pass > 0) {
		e.weigh(e.last)
		err = nil
	}
	return e.found, err
}

// onPort opens a link for as long as do takes.
func onPort(ctx context.Context, link Link, do func(port Port) error) error {
	port, err := link.Open(ctx)
	if err != nil {
		return linkError("open", link.Name(), err)
	}
	stop := context.AfterFunc(ctx, func() { _, _ = port.SetReadDeadline(longAgo), port.SetWriteDeadline(longAgo) })
	err = do(port)
	stop()
	closed := port.Close()
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return linkError("read", link.Name(), err)
	case closed != nil:
		return linkError("close", link.Name(), closed)
	}
	return nil
}

// readUntil reads what comes before a time; nothing is no error.
func readUntil(ctx context.Context, port Port, until time.Time) ([]byte, error) {
	if err := port.SetReadDeadline(until); err != nil {
		return nil, err
	}
	if ctx.Err() != nil { // asked after the deadline was set, which may have undone the one in the past
		return nil, ctx.Err()
	}
	buffer := make([]byte, 4096)
	n, err := readSafely(port, buffer)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return buffer[:n], err
}

// hear takes what came by now.
func (e *ear) hear(at time.Duration, chunk []byte) {
	if len(chunk) == 0 {
		if e.open && at >= e.last+pause {
			e.open = false
			e.bursts++
			e.weigh(at)
		}
		return
	}
	if len(e.came) == 0 {
		e.first = at
		if at >= 2*pause {
			e.came = append(e.came, lineBegins(at))
		}
	}
	e.came = append(e.came, recorded{at, chunk})
	e.open, e.last = true, at
	if at >= e.judged+between {
		e.weigh(at)
	}
}

// weigh judges what came so far. It costs more the more came, so that it is not done for each chunk.
func (e *ear) weigh(at time.Duration) {
	e.judged = at
	e.judgement = judge(e.came, e.frames)
	if len(e.live) > 0 && e.lived == 0 {
		e.lived = at
	}
}

// until is when to look again if nothing comes.
func (e *ear) until() time.Duration {
	switch {
	case len(e.came) == 0:
		return silence
	case e.open:
		return e.last + pause
	}
	return e.end()
}

// end is when this setting is left at the latest.
func (e *ear) end() time.Duration {
	end := hopeless
	switch {
	case len(e.came) == 0:
		return silence
	case e.lived > 0:
		end = max(e.lived+telltale, inAll-e.begun)
	case e.lines > 0, e.baud == 0:
		end = hopeful
	}
	if e.pass > 0 {
		end = max(end, hopeful)
	}
	return end
}

// over says whether this setting is to be left now.
func (e *ear) over(at time.Duration) bool {
	switch {
	case at >= e.end():
		return true
	case len(e.came) == 0 || e.lived > 0 || e.pass > 0 || e.baud == 0:
		return false
	case e.lines > 0:
		return e.share < 0.5 && e.bytes() >= muchText
	case e.bursts == 0 && at >= e.first+noPause:
		return true
	case len(e.came[0].bytes) == 0 && e.bytes() < shortLine*e.bursts: // from the beginning of a line on
		return true
	case isText(e.came):
		return e.bursts >= threeBursts || e.bytes() >= muchText
	}
	return !e.open || e.bytes() >= fewRubbish
}
