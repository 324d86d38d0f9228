package station

import "time"

// clock is what the system says of its own time.
type clock struct {
	booted       time.Time // zero: not known
	synchronised bool      // by a time source, since then
}

// doubt says why instants from before can't be compared with those from now on; empty where they can. Small boards keep no
// time without power: what they show after a boot is nobody's until a time source has set it.
func (c clock) doubt(last, now time.Time) string {
	switch {
	case now.Before(last):
		return "the clock was set back: it stands before the last event that was recorded"
	case !c.synchronised && c.booted.After(last):
		return "the machine was switched on again and its clock has not been set by a time source"
	}
	return ""
}
