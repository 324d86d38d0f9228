package batch

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Act is an action of a person's. Phase and Part, where given, are the state it was meant for.
type Act struct {
	At       time.Time `json:"-"`
	Action   string    `json:"action"`
	Phase    Phase     `json:"phase,omitempty"`
	Part     string    `json:"part,omitempty"`
	Reason   string    `json:"reason,omitempty"`
	Operator string    `json:"operator,omitempty"`
	Check    string    `json:"check,omitempty"`
	Text     string    `json:"text,omitempty"`
	Code     string    `json:"code,omitempty"`
}

// A Refusal is an action that is not done, and why. Nothing has changed.
type Refusal struct {
	Misfit  bool   // it does not fit the present state; otherwise the action itself is wrong
	Unknown bool   // it names a code that the batch's card does not know
	Detail  string // for a person to act on
}

func (r *Refusal) Error() string { return r.Detail }

func misfit(format string, args ...any) error {
	return &Refusal{Misfit: true, Detail: fmt.Sprintf(format, args...)}
}

func wrong(format string, args ...any) error {
	return &Refusal{Detail: fmt.Sprintf(format, args...)}
}

// maxText bounds what a person may write in one note.
const maxText = 4000

var notBuilt = []string{
	"weighed", "dosed", "change_container", "park", "resume", "combined", "begin", "finish", "skip", "scraped",
}

// act is the fact that an action leads to.
func (s *State) act(a Act) (Fact, error) {
	do, known := map[string]func(*State, Act) (Fact, error){
		"accept": (*State).actAccept, "correct": (*State).actAccept, "reopen": (*State).actReopen, "tare": (*State).actTare,
		"b_begins": (*State).actBegins, "same_cup": (*State).actSameCup, "note": (*State).actNote,
		"lifted": (*State).actJump, "tared": (*State).actJump, "poured": (*State).actPut, "put_in": (*State).actPut,
		"scanned":  (*State).actScanned,
		"override": (*State).actOverride, "scrap": (*State).actEnd, "abandon": (*State).actEnd,
	}[a.Action]
	if strings.HasPrefix(a.Action, toPart) {
		do, known = (*State).actAnswer, true
	}
	switch {
	case slices.Contains(notBuilt, a.Action):
		return nil, wrong("the action %q is not built yet", a.Action)
	case !known:
		return nil, wrong("unknown action %q", a.Action)
	case s.acting:
		return nil, misfit("the action before this one is still being recorded")
	case !s.Running():
		return nil, misfit("the batch has ended (%s): nothing more can be done to it", s.Phase())
	case a.Phase != "" && a.Phase != s.Phase():
		return nil, misfit("the batch is in phase %q now, not in %q: look again", s.Phase(), a.Phase)
	case a.Part != "" && a.Part != s.part():
		return nil, misfit("the part at hand is %q now, not %q: look again", s.part(), a.Part)
	}
	return do(s, a)
}

// decides says whether a fact that an action led to changes what can be done next.
func decides(f Fact) bool {
	switch f := f.(type) {
	case Noted, Overridden:
		return false
	case Begun:
		return f.By != "rise"
	}
	return true
}

// ready says why nothing can be weighed just now, if so.
func (s *State) ready() error {
	switch {
	case !s.OnScale():
		return misfit("everything is weighed")
	case !s.cup:
		return misfit("no cup has been taken yet: place the cup")
	case s.off:
		return misfit("the cup is off the pan: set it back")
	case s.taken:
		return misfit("part %s is being recorded as accepted", s.part())
	case !s.Pan.Settled(0):
		return misfit("the value is not at rest: wait until it is")
	}
	return nil
}

func (s *State) actAccept(a Act) (Fact, error) {
	if s.OnScale() && !s.cup && s.Question.kind == noRoomQuestion && s.Pan.Settled(0) {
		return CupTaken{At: a.At, Reference: s.value(), Division: s.division()}, nil
	}
	if err := s.ready(); err != nil {
		return nil, err
	}
	d := s.dosing()
	switch {
	case s.Question.kind == aOrBQuestion, s.Question.kind == putQuestion && s.waiting:
		return nil, misfit("first answer: %s", s.Question.Ask)
	case s.waiting:
		return nil, misfit("part %s has not begun: there is nothing to accept", d.Part.Part)
	case s.total() <= 0:
		return nil, misfit("nothing of part %s is in the cup%s", d.Part.Part, s.unseen())
	case a.Action == "correct" && (d.Part.Part != "B" || s.total() <= d.High):
		return nil, misfit("there is nothing to correct: part B is not above its window")
	}
	fact, err := s.accept(a.Action)
	if a.Action == "correct" && err != nil {
		return nil, misfit("%v", err)
	}
	fact.At = a.At
	return fact, nil
}

func (s *State) actReopen(a Act) (Fact, error) {
	last := s.at - 1
	switch {
	case last < 0:
		return nil, misfit("no part has been accepted yet")
	case s.left || s.off:
		return nil, misfit("the cup is off the pan: the part can't be taken back")
	case s.OnScale() && !s.waiting:
		return nil, misfit("part %s has begun: part %s can't be taken back", s.part(), s.Dosings[last].Part.Part)
	}
	return Reopened{At: a.At, Dosing: last, Part: s.Dosings[last].Part.Part, Why: "reopen"}, nil
}

func (s *State) actTare(a Act) (Fact, error) {
	if s.OnScale() && !s.cup {
		switch {
		case len(s.openChecks()) > 0:
			return nil, misfit("the check %q says stop: it must be overridden first", s.openChecks()[0])
		case !s.Pan.Settled(0):
			return nil, misfit("the value is not at rest: wait until it is")
		}
		return CupTaken{At: a.At, Reference: s.value(), Division: s.division()}, nil
	}
	if err := s.ready(); err != nil {
		return nil, err
	}
	if s.risen() >= s.Pan.Division || !s.waiting && s.total() >= s.Pan.Division {
		return nil, misfit("something has landed in the cup since its last value was taken: the reference can't be moved without losing count of it")
	}
	f := Referenced{At: a.At, Why: "tare", Dosing: s.at, Weighings: s.dosing().Weighings, Reference: s.value(), Division: s.division(), Foreign: s.foreignIn()}
	f.Part, f.Provable = s.rewindow()
	return f, nil
}

// actBegins has the part at hand begin, B or another one.
func (s *State) actBegins(a Act) (Fact, error) {
	switch {
	case !s.OnScale() || !s.waiting:
		return nil, misfit("no part can begin now: the part before it must be accepted first, and it not begun")
	case s.Question.Ask != "" && s.Question.kind != aOrBQuestion:
		return nil, misfit("first answer: %s", s.Question.Ask)
	}
	return s.begins(a), nil
}

// begins is the part at hand beginning by a person's word: since what already rose began to rise, else now.
func (s *State) begins(a Act) Begun {
	at := a.At
	if !s.off && s.Pan.Now.Mass-s.from >= s.Pan.Division {
		at = s.level
	}
	return Begun{At: at, Part: s.dosing().Part.Part, By: a.Action}
}

func (s *State) actAnswer(a Act) (Fact, error) {
	if !slices.Contains(s.Question.Choices, a.Action) {
		return nil, misfit("there is no such question open")
	}
	if last := s.Dosings[s.at-1].Part.Part; a.Action == answerTo(last) {
		return Reopened{At: a.At, Dosing: s.at - 1, Part: last, Why: a.Action}, nil
	}
	return s.begins(a), nil
}

func (s *State) actSameCup(a Act) (Fact, error) {
	if s.Question.kind != cupChangedQuestion {
		return nil, misfit("there is no such question open")
	}
	f, _ := s.newReference("same_cup", s.rest, s.Pan.Value(), 0)
	f.At = a.At
	return f, nil
}

func (s *State) actJump(a Act) (Fact, error) {
	switch {
	case s.Question.kind != jumpQuestion || !slices.Contains(s.Question.Choices, a.Action):
		return nil, misfit("there is no such question open")
	case a.Action == "lifted":
		return Answered{At: a.At, Answer: a.Action}, nil
	}
	return s.tared(a.At), nil
}

func (s *State) actPut(a Act) (Fact, error) {
	switch {
	case s.Question.kind != putQuestion:
		return nil, misfit("there is no such question open")
	case a.Action == "poured":
		return Answered{At: a.At, Answer: a.Action}, nil
	}
	return s.putIn(a.At), nil
}

func (s *State) actNote(a Act) (Fact, error) {
	if a.Text == "" || len(a.Text) > maxText {
		return nil, wrong(`a note needs its "text", of at most %d bytes`, maxText)
	}
	return Noted{At: a.At, Text: a.Text, Operator: a.Operator}, nil
}

func (s *State) actOverride(a Act) (Fact, error) {
	switch {
	case a.Check == "":
		return nil, wrong(`an override needs the "check" that it passes`)
	case a.Reason == "" || a.Operator == "":
		return nil, wrong(`an override needs a "reason" and the "operator" who answers for it`)
	case !s.OnScale() || s.cup || !slices.Contains(s.openChecks(), a.Check):
		return nil, misfit("the check %q is not open", a.Check)
	}
	return Overridden{At: a.At, Check: a.Check, Reason: a.Reason, Operator: a.Operator}, nil
}

func (s *State) actEnd(a Act) (Fact, error) {
	phase := PhaseScrapped
	if a.Action == "abandon" {
		phase = PhaseAbandoned
	}
	switch {
	case phase == PhaseAbandoned && !s.OnScale():
		return nil, misfit("the batch is off the scale: it can only be scrapped")
	case a.Reason == "" && !slices.Contains(s.Question.Choices, a.Action):
		return nil, wrong(`%s needs a "reason"`, a.Action)
	}
	f := Ended{At: a.At, Phase: phase, Reason: a.Reason, Dosing: s.at}
	if s.OnScale() && s.cup && !s.waiting && !s.Pan.Now.At.IsZero() {
		f.Weighings = s.closed(s.from + s.risen())
	}
	return f, nil
}
