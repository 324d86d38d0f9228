package batch

import (
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/plan"
	"twocup/station/pour"
)

// heaviestStick is the most that a stick put into a cup weighs (common practice, no source).
const heaviestStick = 10 * reading.Gram

// thing is what came at once, with no stream: a stick, a glove, a jug on the rim, a hand; or a ladle's liquid. The value
// was to with it, and would have been from without.
type thing struct{ from, to reading.Mass }

func (t *thing) size() reading.Mass {
	if t == nil {
		return 0
	}
	return t.to - t.from
}

// shifted is the thing as the display shows it after its zero has moved; nil for none.
func (t *thing) shifted(by reading.Mass) *thing {
	if t == nil {
		return nil
	}
	return &thing{t.from + by, t.to + by}
}

// foreign is what may stand in the cup or on it without having been poured.
func (s *State) foreign() reading.Mass { return s.in + s.put.size() }

// foreignIn is what of that was told to be none of the mix, as facts carry it.
func (s *State) foreignIn() plan.Picograms { return plan.Picograms(s.in) }

// came takes note of a load that no stream has brought, together with those before it.
func (s *State) came(h pour.Happening) {
	if h == pour.Put && !s.ladle {
		s.put = &thing{s.Pan.PutFrom - s.put.size(), s.Pan.PutTo}
	}
}

func (s *State) unask(kind questionKind) {
	if s.Question.kind == kind {
		s.Question = Question{}
	}
}

// askPut asks whether what came in one step was poured, before it counts for anything. What stands where it fell, right
// inside the window, and is heavier than a stick, is taken as poured.
func (s *State) askPut() bool {
	if s.put == nil {
		return false
	}
	d := s.dosing()
	inside := s.total() >= d.Low && s.total() <= d.High
	asItFell := (s.Pan.Value() - s.put.to).Abs() <= slack*s.Pan.Division
	if inside && asItFell && s.put.size() > heaviestStick {
		return false
	}
	s.Question = pouredOrPut(s.put.size())
	return true
}

// onStick is the most of the mix that a stick takes along: 0.5 to 3 g (common practice, no source).
const onStick = 3 * reading.Gram

// takenOut says whether a fall of the settled value is that of something which was not poured. What it takes along is a
// loss.
func (s *State) takenOut(from, to reading.Mass) (facts []Fact, known bool) {
	fall, few := from-to, slack*s.Pan.Division
	put, in := s.whatLeft(fall)
	loss := fall - put - in
	switch {
	case put+in == 0, s.acting, loss > max(few, onStick): // an answer on its way may be about it
		return nil, false
	case loss < -few:
		return s.easedOff(from, fall)
	case loss <= few:
		loss = 0
	}
	then := *s
	then.in -= in
	if put > 0 {
		then.put = nil
		then.unask(putQuestion)
	}
	if in == 0 && loss == 0 {
		*s = then
		return nil, true
	}
	f, plausible := then.newReference("taken_out", from-put, to, loss) // what was not told yet still counts as poured
	if !plausible {
		return nil, false
	}
	*s = then
	return s.refer(f), true
}

// whatLeft is what of the things that were not poured comes nearest to a fall: what is not told yet, what is, or both.
func (s *State) whatLeft(fall reading.Mass) (put, in reading.Mass) {
	all := s.put.size()
	for _, c := range [][2]reading.Mass{{all, 0}, {0, s.in}, {all, s.in}} {
		if here := c[0] + c[1]; here > 0 && (put+in == 0 || (fall-here).Abs() < (fall-put-in).Abs()) {
			put, in = c[0], c[1]
		}
	}
	return put, in
}

// easedOff takes a fall from what was not poured: a hand that eases off, one stick of two.
func (s *State) easedOff(from, fall reading.Mass) (facts []Fact, known bool) {
	if s.put != nil && fall < s.put.size() {
		s.put = &thing{s.put.from, s.put.to - fall}
		return nil, true
	}
	if fall < s.in {
		s.in -= fall
		return s.reference("taken_out", from), true
	}
	return nil, false
}

// putIn is the reference moved by what was put in: it is no part of the weighing that went on meanwhile.
func (s *State) putIn(at time.Time) Referenced {
	f, _ := s.newReference("put_in", s.put.from, s.put.to, 0)
	f.At, f.Foreign = at, plan.Picograms(s.foreign())
	return f
}

// tared is the reference moved by a key of the scale, or by the scale itself.
func (s *State) tared(at time.Time) Referenced {
	f, _ := s.newReference("tared", s.rest, reading.Mass(s.jump.To), 0)
	f.At = at
	return f
}
