package batch

import (
	"fmt"
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// Phase is where a batch stands, in the words of the live snapshot.
type Phase string

const (
	PhaseCup       Phase = "cup"
	PhasePour      Phase = "pour"
	PhaseSettle    Phase = "settle"
	PhaseCorrect   Phase = "correct"
	PhaseMix       Phase = "mix"
	PhaseScrapped  Phase = "scrapped"
	PhaseAbandoned Phase = "abandoned"
)

// landing is how long after the last acceptance a rise takes the verdict back.
const landing = 5 * time.Second

// Weighing is the difference of two values that the scale showed.
type Weighing struct {
	From   plan.Picograms `json:"from_pg"`
	To     plan.Picograms `json:"to_pg"`
	FromD  plan.Picograms `json:"from_d_pg"` // division in force at each
	ToD    plan.Picograms `json:"to_d_pg"`
	Shared bool           `json:"shared"`            // From is the very reading that ended the weighing before
	Lost   plan.Picograms `json:"lost_pg,omitempty"` // of that, what has left the cup since, on a stick or a wall
}

func (w Weighing) mass() reading.Mass { return reading.Mass(w.To - w.From - w.Lost) }

// Dosing is one part to be brought to its target. Target, window and what is poured are the part's total: a correction
// is a dosing of a part that has some already.
type Dosing struct {
	plan.Part
	Provable   bool       `json:"provable"`
	Correction bool       `json:"correction,omitempty"`
	Weighings  []Weighing `json:"weighings,omitempty"`
	Accepted   bool       `json:"accepted"`
	AcceptedAt time.Time  `json:"accepted_at,omitzero"`
	Flow       float64    `json:"flow_g_s,omitempty"` // mean, g/s
}

func (d *Dosing) aim() pour.Aim { return pour.Aim{Target: d.Target, Low: d.Low, High: d.High} }

// State is a batch and the pan it stands on. The zero value, or one with only a Pan, is a station without a batch.
type State struct {
	Pan      pour.Pan
	Start    *Started // nil: no batch
	Dosings  []Dosing
	Ended    Ended
	Error    *float64 // ratio error in percent, unrounded, with the verdict
	U        *float64
	Verdict  metrology.Verdict
	Weighed  time.Time // of the last acceptance
	Contact  time.Time // first contact of A and B, once it is recorded
	Clock    string    // why nobody can say when its pot life ends; empty where one can
	Doubt    string    // why nobody can say what is in the cup; empty where one can
	Question Question

	at         int      // the dosing at hand; len(Dosings) once weighed
	overridden []string // checks passed by a named person
	cup        bool     // a cup has been taken
	guide      pour.Guide
	habits     Habits       // of the hand; not a fact
	from       reading.Mass // reference of the weighing now running
	fromD      reading.Mass
	shared     bool
	highest    reading.Mass // settled value since
	display    reading.Mass // division when it was taken
	low        time.Time    // last time the value was there
	shifted    bool         // the reference moved while an acceptance was on its way to the ledger
	rises      time.Time    // when the part at hand began to land

	waiting bool      // the part at hand has not begun: the part before may still drip
	early   bool      // something lands too soon to be the part at hand
	fastest float64   // flow of that, g/s
	level   time.Time // last time the value stood where the part before was accepted

	off    bool         // the cup has been lifted
	moving bool         // in mid-stream: the old reference goes on
	rest   reading.Mass // last settled value before
	lifted reading.Mass // what left the pan
	top    reading.Mass // the value up to which the part had come
	jump   *Jumped      // a key of the scale, or the cup was lifted; nil: nothing of the kind is open
	left   bool         // lifted after the weighing
	done   time.Time    // first reading with everything weighed

	put   *thing       // came in one step and may not be poured; nil: nothing of the kind is open
	in    reading.Mass // what is in the cup or on it and was not poured
	ladle bool         // the part at hand comes in steps

	taken    bool          // an acceptance is on its way to the ledger
	acting   bool          // so is an action: a second tap of the same hand finds it there
	asked    reading.Mass  // total of the part when the open question was asked
	reopened *reading.Mass // total at which the part was taken back by hand
}

// Event is what can happen to a batch besides readings: Act or Recorded.
type Event interface{ event() }

// Recorded is a fact that is durable.
type Recorded struct{ Fact }

func (Act) event()      {}
func (Recorded) event() {}

// Follow is the state after a reading, and the facts that it decides. One that decides nothing allocates nothing.
func Follow(s State, r reading.Reading) (State, []Fact) {
	facts := s.read(r)
	return s, facts
}

// Step is the state after an event, and the facts that are to be recorded for it. An error (an action that doesn't
// fit) leaves everything as it was.
func Step(s State, e Event) (State, []Fact, error) {
	switch e := e.(type) {
	case Act:
		fact, err := s.act(e)
		if err != nil {
			return s, nil, err
		}
		s.acting = s.acting || decides(fact)
		return s, []Fact{fact}, nil
	case Recorded:
		if f, ok := e.Fact.(interface{ taken() bool }); !ok || !f.taken() {
			s.apply(e.Fact)
			s.acting = s.acting && !decides(e.Fact)
		}
		return s, nil, nil
	}
	panic(fmt.Sprintf("batch: unknown event %T", e))
}

// Replay is the state that a batch's facts give, in the order they were recorded.
func Replay(facts []Fact) State {
	var s State
	for _, f := range facts {
		s.apply(f)
	}
	return s
}

// Running says whether there is a batch that has not ended.
func (s *State) Running() bool { return s.Start != nil && s.Ended.Phase == "" }

// OnScale says whether the batch still has something to be weighed.
func (s *State) OnScale() bool { return s.Running() && s.at < len(s.Dosings) }

// Left says whether a batch whose weighing is over has been taken off the pan.
func (s *State) Left() bool { return s.left }

// WithoutBatch is the pan alone, for the next batch: a cup that this one used is not the next one's.
func (s *State) WithoutBatch() State {
	next := State{Pan: s.Pan}
	if s.cup {
		next.Pan.Disown()
	}
	return next
}

// dosing is the one at hand.
func (s *State) dosing() *Dosing { return &s.Dosings[s.at] }

// edit gives a dosing that may be written to: earlier states keep theirs.
func (s *State) edit(i int) *Dosing {
	s.Dosings = slices.Clone(s.Dosings)
	return &s.Dosings[i]
}

// closedTotal is what the given dosing's part has by the weighings that are closed.
func (s *State) closedTotal(i int) reading.Mass {
	var sum reading.Mass
	for j := range s.Dosings {
		if s.Dosings[j].Part.Part == s.Dosings[i].Part.Part {
			for _, w := range s.Dosings[j].Weighings {
				sum += w.mass()
			}
		}
	}
	return sum
}

// risen is what has landed since the reference; while the cup is off, what had. A batch that is only read back stands
// on no pan, and one that has ended has its last weighing closed.
func (s *State) risen() reading.Mass {
	switch {
	case s.Ended.Phase != "":
		return 0
	case s.off:
		return s.top - s.from
	case s.Pan.Now.At.IsZero():
		return 0
	}
	return s.Pan.Value() - s.from
}

// total is what the part at hand has in the cup.
func (s *State) total() reading.Mass { return s.closedTotal(s.at) + s.risen() }

// weighings are all of the batch in their order, as the uncertainty wants them.
func (s *State) weighings() []metrology.Weighing {
	var all []metrology.Weighing
	for i := range s.Dosings {
		for _, w := range s.Dosings[i].Weighings {
			all = append(all, metrology.Weighing{
				Part: s.Dosings[i].Part.Part, Mass: w.mass(), FromD: reading.Mass(w.FromD), ToD: reading.Mass(w.ToD), Shared: w.Shared,
			})
		}
	}
	return all
}
