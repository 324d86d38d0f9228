package scaledrv

import (
	"context"
	"strconv"
	"time"
)

// usual are the requests that scales commonly answer (common practice, no source).
var usual = []string{"SI\r\n", "Q\r\n", "P\r\n", "\x05\r\n", "\x1bP\r\n"}

const (
	settling = 100 * time.Millisecond // after opening: a converter takes its new settings a little later (common practice)
	answerIn = 500 * time.Millisecond // a scale begins to answer within that, if it has the request at all (common practice)
	asking   = 6 * time.Second        // is how long a request that was answered is repeated at the most
	noLines  = 2                      // answers without a whole line after which another request is tried
)

// ask sends the usual requests at each of the settings, until one is answered with lines.
func (s *search) ask(ctx context.Context, settings []setting) error {
	for _, set := range settings {
		over := false
		err := onPort(ctx, set.link, func(port Port) (err error) {
			if _, err := readUntil(ctx, port, time.Now().Add(settling)); err != nil {
				return err
			}
			over, err = s.askAt(ctx, port, set)
			return err
		})
		if err != nil || over {
			return err
		}
	}
	return nil
}

// askAt asks at one setting, each request in all frames: what differs is bit 7, which is parity in two of them.
func (s *search) askAt(ctx context.Context, port Port, set setting) (over bool, err error) {
	requests := usual
	if s.opt.Request != "" {
		requests = []string{s.opt.Request}
	}
	for _, request := range requests {
		sent := map[string]bool{}
		for _, frame := range set.frames {
			text := speak(request, frame)
			if sent[text] {
				continue
			}
			sent[text] = true
			s.tell("asking%s with %s", set.atBaud(), strconv.Quote(request))
			f := found{setting: set, request: request}
			if err := f.repeat(ctx, port, text); err != nil {
				return false, err
			}
			if s.note(f) {
				return true, nil
			}
		}
	}
	return false, nil
}

// speak is a request as bytes of 8N1 that a scale set to a frame hears.
func speak(request, frame string) string {
	out := []byte(request)
	for i, b := range out {
		if asHeard[frame](b) != b {
			out[i] |= 0x80
		}
	}
	return string(out)
}

// repeat asks as long as there are answers and more of them are needed.
func (f *found) repeat(ctx context.Context, port Port, request string) error {
	began := time.Now()
	for answers := 1; time.Since(began) < asking; answers++ {
		if err := write(ctx, port, []byte(request)); err != nil {
			return err
		}
		answer, err := f.answer(ctx, port, began)
		if err != nil {
			return err
		}
		if f.sure || !answer || f.lines == 0 && answers >= noLines {
			return nil
		}
	}
	return nil
}

// answer takes what comes up to a pause.
func (f *found) answer(ctx context.Context, port Port, began time.Time) (any bool, err error) {
	until := time.Now().Add(answerIn)
	for {
		chunk, err := readUntil(ctx, port, until)
		if err != nil || len(chunk) == 0 {
			f.judgement = judge(f.came, f.frames)
			return any, err
		}
		at := time.Since(began)
		if len(f.came) == 0 {
			f.came = append(f.came, lineBegins(at))
		}
		any = true
		f.came = append(f.came, recorded{at, chunk})
		until = time.Now().Add(pause)
	}
}
