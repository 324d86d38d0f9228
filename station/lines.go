package station

import (
	"context"
	"time"

	"twocup/scaledrv"
	"twocup/station/plan"
)

// Heard is what has come from one scale, and how the scale's entry stands.
type Heard struct {
	Scale    plan.Scale
	LinkText string              // as it stands in the entry; empty where it stands in none
	Shape    string              // as it stands in the entry
	Found    *scaledrv.Candidate // what was found out where that is auto; nil before
	Link     scaledrv.LinkState
	Since    time.Time // counts and the lines' numbers begin here
	Stats    scaledrv.Stats
	Rate     float64 // readings a second of late; 0 while the link is not up, and where fewer than two have come
	Lines    []scaledrv.Line
}

// Heard gives what has come from each scale of the station, with those of its newest lines that are behind the one with
// this number, the oldest first.
func (s *Station) Heard(ctx context.Context, after uint64) ([]Heard, error) {
	h := Heard{Scale: s.Scale(), LinkText: s.cfg.LinkText, Shape: s.cfg.Shape.Name(), Found: s.found.Load(), Since: s.since, Stats: s.Stats(), Lines: s.lines.After(0)}
	if err := s.inLoop(ctx, func() { h.Link = s.scale.link }); err != nil {
		return nil, err
	}
	if h.Link == scaledrv.LinkUp {
		h.Rate = rate(h.Lines, time.Now())
	}
	for len(h.Lines) > 0 && h.Lines[0].Number <= after {
		h.Lines = h.Lines[1:]
	}
	return []Heard{h}, nil
}

// rateSpan is the time over which readings are counted: a scale that sends once a second still has ten.
const rateSpan = 10 * time.Second

// rate is how many readings a second stand in the lines of the rateSpan before now; 0 where there are fewer than two.
func rate(lines []scaledrv.Line, now time.Time) float64 {
	var first, last time.Time
	n := 0
	for _, l := range lines {
		if l.Outcome != scaledrv.LineRead || now.Sub(l.At) > rateSpan {
			continue
		}
		if n == 0 {
			first = l.At
		}
		last = l.At
		n++
	}
	if !last.After(first) {
		return 0
	}
	return float64(n-1) / last.Sub(first).Seconds()
}
