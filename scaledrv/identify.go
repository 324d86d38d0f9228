package scaledrv

import (
	"context"
	"log/slog"
	"time"

	"twocup/scaledrv/reading"
)

// IdentifyOptions of an identification. The zero IdentifyOptions work: nothing is sent.
type IdentifyOptions struct {
	// Ask sends the usual requests, one after the other, to a scale that says nothing by itself. An unknown command can
	// change a scale's set-up: a person must have agreed.
	Ask      bool
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
	Frames                 int      // whole lines under this shape
	Rejected               int      // bytes between them that are none, without line ends
	Bytes                  int      // that came
	Raw                    []string // a few of the frames behind it, as they came, without bit 7 where that is parity
}

// Identify finds how the scale at a link speaks: the line settings that the link's text leaves open, the shape of its
// lines, and what they show of unit, division and rate. It opens the link, listens, and closes it; for a scale that
// sends by itself, 1 to 50 lines a second, that takes 15 s at most. It sends nothing unless it is told to ask.
//
// What is sure has been seen: enough whole lines that this shape alone explains. What several shapes or settings explain
// alike is not sure, and the advice says what to do at the scale to tell them apart. The error is why the link can't be
// opened or was lost, a *LinkError, or ctx's.
func Identify(ctx context.Context, link Link, opt IdentifyOptions) (Identification, error) {
	return Identification{}, nil
}

// Identify leaves the driver's port, identifies on the same link, and goes on as configured. Meanwhile the link is down,
// with an advice that says why. The caller sees to it that no batch is on the scale. Errors are those of the function
// Identify, and ctx's; a driver that has ended gives its own context's error.
func (d *Driver) Identify(ctx context.Context, opt IdentifyOptions) (Identification, error) {
	return Identification{}, nil
}

// Entry is the scale's entry for `scales:` in the configuration, in YAML and ready to be pasted, with what is not sure or
// must be given as comments. ID is the entry's id, link its link without line settings, such as serial:/dev/ttyUSB0.
func (c Candidate) Entry(id, link string) string { return "" }
