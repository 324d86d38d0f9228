package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/pour"
)

// Resume is an open batch after a restart, from its facts and from what the scale showed of it: its trace, whose readings
// carry no flags. Up to the newest fact that settles where the batch stands the readings only move the pan; from there on
// they are followed as they were then, so that a cup that is off or a question that is open is so again. What they decide
// beyond the facts comes back as facts that are still to be recorded. The next reading follows a silence, however short it
// was: whatever happened to scale and cup meanwhile is judged as after any other.
func Resume(facts []Fact, division reading.Mass, shown []reading.Reading) (State, []Fact) {
	settled := lastSettled(facts)
	s, later := Replay(facts[:settled+1]), facts[settled+1:]
	s.Pan = pour.NewPan(division)
	from, keys, more := facts[settled].When(), keysPressed(facts), []Fact(nil)
	for _, r := range shown {
		if !r.At.After(from) {
			s.Pan.Take(r) // what it decided stands in the facts
			if slices.ContainsFunc(keys, r.At.Equal) {
				s.Pan.Tared() // without its flags a key looks like a lift
			}
			continue
		}
		for len(later) > 0 && later[0].When().Before(r.At) {
			s.apply(later[0])
			later = later[1:]
		}
		next, decided := Follow(s, r)
		s = next
		for _, f := range decided {
			if !slices.ContainsFunc(facts, func(known Fact) bool { return sameFact(known, f) }) {
				more = append(more, f)
			}
		}
	}
	for _, f := range later {
		s.apply(f)
	}
	if !s.OnScale() { // what comes onto it in the silence or after it comes too late to be a part's tail
		s.done, s.level = s.Weighed, s.Weighed.Add(2*landing)
	}
	s.Pan.Silence()
	return s, more
}

// lastSettled is the place of the newest fact after which nothing that came before it is open. The first is a Started.
func lastSettled(facts []Fact) (place int) {
	for i, f := range facts {
		switch f.(type) {
		case Noted, Overridden, ClockDoubted, Jumped, Doubted, Answered:
		default:
			place = i
		}
	}
	return place
}

// sameFact says whether a reading has decided again what stands in the facts: a trace is kept to the millisecond.
func sameFact(known, again Fact) bool {
	return known.Kind() == again.Kind() && known.When().Truncate(time.Millisecond).Equal(again.When().Truncate(time.Millisecond))
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
