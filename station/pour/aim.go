package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

// Band is where the poured mass lies against its window.
type Band string

const (
	Below  Band = "below"
	Near   Band = "near" // below, from the first ease on
	Inside Band = "inside"
	Above  Band = "above"
)

// Aim is what one part should reach, as masses counted from the part's own start.
type Aim struct {
	Target, Low, High reading.Mass
	Tail              float64 // s: the longest time constant that the vessel's tail may have; 0: a medium liquid's
}

// Band of a poured mass; eased says that the ease cue has been given.
func (a Aim) Band(poured reading.Mass, eased bool) Band {
	switch {
	case poured > a.High:
		return Above
	case poured >= a.Low:
		return Inside
	case eased:
		return Near
	}
	return Below
}

// Goal is where a part should end: the target, unless a one-sided tolerance has it at the window's edge or, less the
// uncertainty, outside. Then it is the middle of a window below the target, and the end of the lowest quarter of one above.
func (a Aim) Goal() reading.Mass {
	return max(min(a.Target, (a.Low+a.High)/2), a.Low+(a.High-a.Low)/4)
}

func (a Aim) middle() float64 { return a.Goal().Grams() }

// point is where a pour should land: so much short of the middle and, however wide the window is above that, so much below
// its end, both in g. A window too narrow for it is not entered by a pour, but by drops.
func (a Aim) point(short, guard float64) float64 {
	return min(a.middle()-short, a.High.Grams()-guard)
}

// narrow says whether the window is finer than two divisions either side: no pour can be trusted to end in it.
func (a Aim) narrow(division reading.Mass) bool { return a.High-a.Low < 4*division }

// SettleTime is how long a value must not change by a division before a tail can be called over: in it two divisions may
// land unseen, one that brings the value to the edge of the next and one that takes it there. So of a tail that dies away
// with its time constant no more is then to come than a tenth of the window or, where that is more, a division.
func (a Aim) SettleTime(division reading.Mass) time.Duration {
	tail := a.Tail
	if tail == 0 {
		tail = FirstHabit("").Tail.Longest()
	}
	return seconds(2 * tail * float64(division) / float64(max(division, (a.High-a.Low)/10)))
}
