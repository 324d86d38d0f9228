package scaledrv

// divisions are the steps that displays have, in units of the last digit (OIML R 76-1, 3.2, from memory: 1, 2 or 5 times a
// power of ten).
var divisions = [...]int64{1, 2, 5, 10, 20, 50, 100, 200, 500}

const (
	fewMisfits   = 3 // lines that show that a division is not so coarse, and one in clearShare: a few may be damaged
	clearShare   = 10
	damagedShare = 20 // one line in so many may misfit a division that is the scale's
	manyValues   = 12 // different values that must all fit before a division coarser than the last digit counts as seen
)

// steps collects what the digits of a display show of its division. The zero steps has seen nothing.
type steps struct {
	lines   int   // whose number was not that of the line before
	last    int64 // number
	misfits [len(divisions)]int
	seen    [manyValues]int64 // different values
	values  int
	stated  int64 // by the lines themselves; 0: they don't
}

// take notes one line's number in units of its last digit, and the division that the line states, 0 where it does not.
func (s *steps) take(digits, stated int64) {
	s.stated = stated
	if s.lines > 0 && digits == s.last {
		return // a display that stands shows nothing new
	}
	s.lines++
	s.last = digits
	for i, d := range divisions {
		if digits%d != 0 {
			s.misfits[i]++
		}
	}
	for _, v := range s.seen[:s.values] {
		if v == digits {
			return
		}
	}
	if s.values < len(s.seen) {
		s.seen[s.values] = digits
		s.values++
	}
}

// coarsest is the coarsest division that the lines allow; 1 before there are any.
func (s steps) coarsest() int64 {
	step := int64(1)
	for i, d := range divisions {
		if s.lines > 0 && s.misfits[i] <= s.lines/damagedShare {
			step = d
		}
	}
	return step
}

// division is the display's step in units of its last digit, and whether enough was seen to say so: else it is 1, and the
// step may be coarser.
func (s steps) division() (step int64, sure bool) {
	if s.stated > 0 {
		return s.stated, true
	}
	step = s.coarsest()
	for i, d := range divisions {
		if d > step && d%step == 0 && (s.misfits[i] < fewMisfits || s.misfits[i]*clearShare <= s.lines) {
			return 1, false
		}
	}
	if step > 1 && s.values < manyValues {
		return 1, false
	}
	return step, true
}
