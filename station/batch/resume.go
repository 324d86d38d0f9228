package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/pour"
)

// Resume is an open batch after a restart, from its facts and from what the scale showed of it: its trace, whose readings
// carry no flags. What they decide beyond the facts comes back as facts that are still to be recorded. The next reading
// follows a silence, however short it was: whatever happened to scale and cup meanwhile is judged as after any other.
func Resume(facts []Fact, division reading.Mass, shown []reading.Reading) (State, []Fact) {
	s := Replay(facts)
	s.Pan = pour.NewPan(division)
	known, keys, more := lastDecided(facts), keysPressed(facts), []Fact(nil)
	for _, r := range shown {
		if !r.At.After(known) {
			s.Pan.Take(r) // what it decided stands in the facts
			if slices.ContainsFunc(keys, r.At.Equal) {
				s.Pan.Tared() // without its flags a key looks like a lift
			}
			continue
		}
		next, decided := Follow(s, r)
		s, more = next, append(more, decided...)
	}
	s.Pan.Silence()
	return s, more
}

// keysPressed are the instants at which the facts say that a key of the scale was pressed, to the millisecond of a trace.
func keysPressed(facts []Fact) (at []time.Time) {
	for _, f := range facts {
		if r, ok := f.(Referenced); ok && (r.Why == "key" || r.Why == "tared") {
			at = append(at, r.At.Truncate(time.Millisecond))
		}
	}
	return at
}

// lastDecided is when the newest of the facts happened that readings decide, or that change what they mean.
func lastDecided(facts []Fact) (at time.Time) {
	for _, f := range facts {
		switch f.(type) {
		case Noted, Overridden, ClockDoubted:
		default:
			at = f.When()
		}
	}
	return at
}
