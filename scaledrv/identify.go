package scaledrv

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"time"

	"twocup/scaledrv/reading"
)

// IdentifyOptions of an identification. The zero IdentifyOptions work: nothing is sent.
type IdentifyOptions struct {
	// Ask sends the usual requests, one after the other, to a scale that says nothing by itself. An unknown command can
	// change a scale's set-up: a person must have agreed.
	Ask      bool
	Request  string            // asks for a line, where that is known: it is sent, and nothing else; empty: not known
	Unit     reading.Unit      // that the scale shows, for lines that state none; UnitNone: not known
	Progress func(text string) // is told what is being tried, a line each; may be nil
	Log      *slog.Logger      // one line for what was found; nil means silent
}

// Identification is what was found about how a scale speaks.
type Identification struct {
	Candidates []Candidate   // likeliest first; empty: nothing that looks like a scale
	Sure       bool          // there is one candidate, and enough was seen of it
	Advice     string        // what to do at the scale to tell candidates apart, or what is wrong; empty when sure
	Took       time.Duration // of listening and asking
}

// Candidate is one way to read what came from the scale, and what was seen under it.
type Candidate struct {
	Baud    int    // of the line; 0 where the link has no settings
	Frame   string // 8N1, 7E1 or 7O1; empty where the link has no settings. 8N2 does not differ from 8N1 for who listens
	Shape   string // as in the configuration
	Request string // that the scale has answered; empty for one that sends by itself

	Unit         reading.Unit  // that the newest lines state, or that of the options; UnitNone: the lines state none, and it must be given
	UnitStated   bool          // the lines state it
	Division     reading.Value // the step of the display as far as its digits show it; no digits: no weight was seen
	DivisionSure bool          // enough different values were seen: else the display's step may be coarser
	RateHz       float64       // lines a second; 0: too few were seen, or the scale was asked

	SeenStable, SeenMoving bool     // the lines said so, at least once
	SeenGross, SeenNet     bool     // the same
	Lines                  int      // whole lines under this shape
	Rejected               int      // bytes of lines that are none, without line ends
	Raw                    []string // the newest few of the lines, without bit 7 where that is parity
}

// Identify finds how the scale at a link speaks: the line settings that the link's text leaves open, the shape of its
// lines, and what they show of unit, division and rate. It opens the link, listens, and closes it; for a scale that
// sends by itself, 1 to 50 lines a second, that takes 15 s at most. It sends nothing unless it is told to ask.
//
// What is sure has been seen: enough whole lines that this shape alone explains. What several shapes or settings explain
// alike is not sure, and the advice says what to do at the scale to tell them apart. The error is why the link can't be
// opened or was lost, a *LinkError, or ctx's.
func Identify(ctx context.Context, link Link, opt IdentifyOptions) (Identification, error) {
	s := search{opt: opt, started: time.Now()}
	settings := settingsOf(link)
	if len(settings) == 1 {
		s.only = settings[0].baud
	}
	var err error
	if opt.Request == "" {
		err = s.hear(ctx, settings)
	}
	if err == nil && !s.heard && (opt.Ask || opt.Request != "") {
		err = s.ask(ctx, settings)
	}
	if err != nil {
		return Identification{}, err
	}
	id := s.identification()
	if opt.Log != nil {
		opt.Log.Info("scale identified", "link", link.Name(), "sure", id.Sure, "candidates", len(id.Candidates), "took", id.Took, "advice", id.Advice)
	}
	return id, nil
}

// tuner is a link whose line has settings, or that can be opened apart from itself.
type tuner interface {
	// tunings are the settings that the link's text leaves open. No bauds: its line has no settings; no frames: the text
	// states the frame.
	tunings() (bauds []int, frames []string)
	// tuned is the same link with other settings. Baud 0 and no frame leave them as they are.
	tuned(baud int, frame string) Link
}

// setting is one way in which the line can be set.
type setting struct {
	link   Link
	baud   int      // 0: the line has no settings
	frames []string // that what comes may be in
	stated string   // the frame that the link's text states: then what comes has no parity in it
}

// rawFrame is the frame in which all are heard.
const rawFrame = "8N1"

func settingsOf(link Link) (all []setting) {
	t, ok := link.(tuner)
	if !ok {
		return []setting{{link: link, frames: []string{rawFrame}}}
	}
	bauds, frames := t.tunings()
	if len(bauds) == 0 {
		return []setting{{link: t.tuned(0, ""), frames: []string{rawFrame}}}
	}
	for _, baud := range bauds {
		s := setting{link: t.tuned(baud, rawFrame), baud: baud, frames: frames}
		if len(frames) == 1 { // stated
			s = setting{link: t.tuned(baud, frames[0]), baud: baud, frames: []string{rawFrame}, stated: frames[0]}
		}
		all = append(all, s)
	}
	return all
}

// search is an identification under way.
type search struct {
	opt     IdentifyOptions
	started time.Time
	only    int   // the one baud that the link's text leaves; 0: others are tried too, or the line has no settings
	heard   bool  // a byte came
	best    found // so far
}

// found is what came at a setting, and what was made of it.
type found struct {
	setting
	judgement
	came    []recorded
	request string // that was answered
}

func (f *found) bytes() (n int) {
	for _, c := range f.came {
		n += len(c.bytes)
	}
	return n
}

// better says whether f tells more than g: something that explains it, then text, then bytes.
func (f *found) better(g *found) bool {
	rank := func(f *found) int {
		switch {
		case f.sure:
			return 4
		case len(f.live) > 0:
			return 3
		case f.bytes() > 0 && isText(f.came):
			return 2
		}
		return 1
	}
	return cmp.Or(cmp.Compare(rank(f), rank(g)), cmp.Compare(f.lines, g.lines), cmp.Compare(f.bytes(), g.bytes())) > 0
}

// settled says whether no other setting needs to be tried.
func (f *found) settled() bool {
	return f.sure || len(f.live) > 0 && f.live[0].longest() >= enoughLength
}

// note keeps what was found if it is the best, and says whether the search is over.
func (s *search) note(f found) (over bool) {
	s.heard = s.heard || f.bytes() > 0
	if f.better(&s.best) {
		s.best = f
	}
	return f.settled()
}

// hear listens at each of the settings, each left as soon as what comes looks wrong. A line that was damaged just then is
// found in a second pass, at the settings that looked likeliest.
func (s *search) hear(ctx context.Context, settings []setting) error {
	for pass := range 2 {
		var heard, text []setting
		for _, set := range settings {
			f, err := s.listen(ctx, set, pass)
			if err != nil {
				return err
			}
			if s.note(f) {
				return nil
			}
			if f.bytes() > 0 {
				heard = append(heard, set)
			}
			if f.bytes() >= fewBytes/2 && isText(f.came) {
				text = append(text, set)
			}
		}
		if len(s.best.live) > 0 {
			return nil
		}
		if settings = text; len(text) == 0 {
			settings = heard
		}
	}
	return nil
}

func (s *search) tell(format string, values ...any) {
	if s.opt.Progress != nil {
		s.opt.Progress(fmt.Sprintf(format, values...))
	}
}

func (set *setting) atBaud() string {
	if set.baud == 0 {
		return ""
	}
	return fmt.Sprintf(" at %d baud", set.baud)
}

// identification is what the search came to.
func (s *search) identification() Identification {
	id := Identification{Sure: s.best.sure, Advice: s.best.advice, Took: time.Since(s.started)}
	for _, e := range s.best.live {
		c := e.candidate(s.opt.Unit)
		c.Baud, c.Request = s.best.baud, s.best.request
		switch {
		case c.Baud == 0:
			c.Frame = ""
		case s.best.stated != "":
			c.Frame = s.best.stated
		}
		if c.Request != "" {
			c.RateHz = 0
		}
		id.Candidates = append(id.Candidates, c)
	}
	if len(id.Candidates) == 0 {
		id.Advice = s.whyNothing()
	}
	return id
}

// whyNothing is what to do where nothing looks like a scale.
func (s *search) whyNothing() string {
	switch {
	case !s.heard && s.opt.Request != "":
		return fmt.Sprintf("The scale does not answer its request %q at any of the usual speeds: see that it is switched on, and that its manual has this request", s.opt.Request)
	case !s.heard && s.opt.Ask:
		return "Nothing came, and none of the usual requests was answered: see that the scale is switched on and its cable is in, and set its output to continuous"
	case !s.heard:
		return "Nothing came: see that the scale is switched on, that its output is set to continuous, and that its cable is in; a scale that sends only on request must be asked"
	case s.best.bytes() < fewBytes, s.best.lines > 0 && s.best.lines < enoughLines && s.best.share >= enoughShare:
		return "Too little came to know its lines by: set the scale's output to continuous, or have it send a line each second meanwhile, such as by its print key"
	case s.only > 0 && !isText(s.best.came):
		return fmt.Sprintf("Bytes came, but nothing that reads as lines at %d baud: leave the settings out of the link, so that others are tried", s.only)
	case isText(s.best.came):
		return fmt.Sprintf("Text came%s, such as %q, but no lines of a known shape: if this is a scale, describe its lines with shape: pattern", s.best.atBaud(), s.best.sample())
	}
	return "Bytes came, but nothing that reads as lines at any of the usual speeds: see that this is a scale, and that its cable and adapter are sound"
}

// sample is some of what came, as the frame in which most of it is text has it.
func (f *found) sample() string {
	var text []byte
	for _, c := range f.came {
		text = append(text, c.bytes...)
	}
	if f.stated == "" {
		for _, frame := range f.frames {
			if heard := hearAll(text, frame); countText(heard) > countText(text) {
				text = heard
			}
		}
	}
	return string(text[max(0, len(text)-fewBytes):])
}
