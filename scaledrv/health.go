package scaledrv

import (
	"fmt"
	"time"

	"twocup/scaledrv/reading"
)

const (
	// frozenAfter is how long a scale may show one value while it says that it moves before its converter counts as hung.
	frozenAfter = 2 * time.Minute
	// span is the time over which damage is counted, twice.
	span = 5 * time.Second
	// A line is bad from badFrom on, until it is better than goodFrom: shares of the bytes that came.
	badFrom, goodFrom = 0.05, 0.02
	// fewBytes is less than two lines: one lost line says nothing about a cable.
	fewBytes = 40
)

// health tells apart what can be wrong with a scale whose port is open.
type health struct {
	auto    bool // how it speaks was found out, not stated
	hid     bool // reports, not lines: nothing is damaged on the way
	request string
	autoOff time.Duration

	ends     time.Time // of the present span
	bytes    [2]int    // that came in the present span and in the one before
	rejected [2]int    // of these
	bad      int       // percent of the bytes when the line was found bad; 0 while it is good
	since    since

	shown  reading.Value
	moving time.Time // since when shown stands although the scale says that it moves
	load   reading.Value
	rested time.Time // since when load has not changed by more than a digit
	last   time.Time // of the newest reading
}

// since is what came after the chunk of the last reading.
type since struct {
	bytes                       int
	frames, unweighed, unitless uint64 // as in tally
}

// heard counts what came at this time: so many bytes, and what became of them.
func (h *health) heard(at time.Time, bytes int, came tally) {
	if passed := at.Sub(h.ends); passed >= 0 {
		h.bytes, h.rejected = [2]int{0, h.bytes[0]}, [2]int{0, h.rejected[0]}
		if passed >= span {
			h.bytes[1], h.rejected[1] = 0, 0
		}
		h.ends = at.Add(span)
	}
	h.bytes[0] += bytes
	h.rejected[0] += int(came.rejected)
	if at.Equal(h.last) {
		h.since = since{}
	} else {
		h.since.bytes += bytes
		h.since.frames += came.frames
		h.since.unweighed += came.unweighed
		h.since.unitless += came.unitless
	}
	damaged := h.rejected[0] + h.rejected[1]
	share := float64(damaged) / float64(h.bytes[0]+h.bytes[1])
	switch {
	case share <= goodFrom:
		h.bad = 0
	case h.bad == 0 && share >= badFrom && damaged >= fewBytes:
		h.bad = int(100 * share) // told once: a figure that moves would be told over and over
	}
}

// weighed takes note of a reading and says whether the scale is frozen.
func (h *health) weighed(r reading.Reading) (frozen bool) {
	h.last = r.At
	if r.State != reading.Normal {
		h.moving, h.rested = time.Time{}, time.Time{}
		return false
	}
	if r.Motion != reading.Moving || r.Value != h.shown || h.moving.IsZero() {
		h.shown, h.moving = r.Value, r.At
	}
	change := r.Value.Digits - h.load.Digits
	if change < -1 || change > 1 || r.Value.Unit != h.load.Unit || r.Value.Decimals != h.load.Decimals || h.rested.IsZero() {
		h.load, h.rested = r.Value, r.At
	}
	return h.frozen()
}

func (h *health) frozen() bool { return h.last.Sub(h.moving) >= frozenAfter && !h.moving.IsZero() }

// asleep says whether the scale is about to switch itself off, or may have done so.
func (h *health) asleep(before time.Duration) bool {
	return h.autoOff > 0 && !h.rested.IsZero() && h.last.Sub(h.rested) >= h.autoOff-before
}

// warning is how long before its end a scale's rest is told of.
func (h *health) warning() time.Duration { return min(30*time.Second, h.autoOff/4) }

// advice is what is wrong and what to do, in one sentence; empty where nothing is.
func (h *health) advice(link LinkState) string {
	switch {
	case link == LinkSilent:
		return h.whySilent()
	case h.frozen():
		return fmt.Sprintf("The scale has sent one value for %v while it says that it moves: its converter may hang; switch it off and on", frozenAfter)
	case h.bad > 0 && h.hid:
		return fmt.Sprintf("Some %d %% of the reports from the scale cannot be used: %s", h.bad, hidUse)
	case h.bad > 0:
		return fmt.Sprintf("Some %d %% of what comes from the scale is damaged: check baud rate and framing, and the cable", h.bad)
	case h.asleep(h.warning()):
		return fmt.Sprintf("The scale is about to switch itself off (auto_off %v): touch the pan", h.autoOff)
	}
	return ""
}

// hidUse is what to do about reports without a use: most have a unit that has no one factor, or none.
const hidUse = "set the scale to grams, kilograms, ounces or pounds"

func (h *health) whySilent() string {
	switch {
	case 2*h.since.unitless > h.since.frames: // most: a damaged line may look like one too
		return "Lines come with a number and no unit: state `unit` in the scale's entry"
	case h.hid && h.since.frames > 1: // the descriptor is one
		return "Reports come from the scale, but none with a weight that can be used: see what it shows, and " + hidUse
	case h.since.unweighed > 0 && !h.hid:
		return "Lines come from the scale, but none with a weight: see what it shows and how its output is set"
	case h.since.bytes >= fewBytes/2 && !h.hid:
		if h.auto {
			return "Bytes come from the scale, but no line as it was found to send: it may have been set to another output; start the program again to have it identified anew"
		}
		return "Bytes come from the scale, but no valid line: check baud rate and framing, and the line shape"
	case h.asleep(h.autoOff / 10):
		return fmt.Sprintf("Nothing comes from the scale, and it has been at rest: it has switched itself off (auto_off %v); switch it on", h.autoOff)
	case h.hid:
		return "Nothing comes from the scale: see that it is switched on; one that sends only when the weight changes needs a longer `stale_after` in its entry"
	case h.request != "":
		return fmt.Sprintf("The scale does not answer its request %q: see that it is switched on, and that its manual has this request", h.request)
	}
	return "Nothing comes from the scale: see that it is switched on, that it sends by itself or has a request in its entry, and that its cable is in"
}
