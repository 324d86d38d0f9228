package batch

import (
	"math"
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// View is a batch as the live snapshot and the record show it.
type View struct {
	ID        string             `json:"id"`
	Material  string             `json:"material"`
	Phase     Phase              `json:"phase"`
	Part      *string            `json:"part"`
	Cue       pour.Cue           `json:"cue"`
	Band      *pour.Band         `json:"band"`
	CupNo     int                `json:"cup_no"`
	Cups      int                `json:"cups"`
	Saving    bool               `json:"saving"`
	Provable  bool               `json:"provable"`
	Target    *reading.Mass      `json:"target_g"`
	Low       *reading.Mass      `json:"low_g"`
	High      *reading.Mass      `json:"high_g"`
	Poured    *reading.Mass      `json:"poured_g"`
	Remaining *reading.Mass      `json:"remaining_g"`
	Flow      *float64           `json:"flow_g_s"`
	Wanted    *float64           `json:"flow_wanted_g_s"` // with cue ease: what to slow down to
	Drops     *int               `json:"drops"`           // with cue top_up: how many it takes, as far as a drop of this hand is known
	Parts     []PartView         `json:"parts"`
	Error     *float64           `json:"ratio_error_pct"`
	U         *float64           `json:"uncertainty_pct"`
	Verdict   *metrology.Verdict `json:"verdict"`
	Question  *Question          `json:"question"`
	Doubt     *string            `json:"doubt"` // why nobody can say what is in the cup
	PotLife   PotLife            `json:"pot_life"`
}

// PartView is one part with what has been poured of it.
type PartView struct {
	plan.Part
	Poured   reading.Mass `json:"poured_g"`
	Accepted bool         `json:"accepted"`
	Name     string       `json:"name,omitempty"`    // of an addition
	StirIn   bool         `json:"stir_in,omitempty"` // before the next part goes in
}

// PotLife is the working time from first contact. Ends is nil where the card gives none.
type PotLife struct {
	Started *time.Time `json:"started"`
	Ends    *time.Time `json:"ends"`
	Basis   *string    `json:"basis"`
}

// Phase is where the batch stands.
func (s *State) Phase() Phase {
	switch {
	case !s.Running():
		return s.Ended.Phase
	case !s.OnScale():
		return s.afterWeighing()
	case !s.cup:
		return PhaseCup
	case s.dosing().Correction && !s.held():
		return PhaseCorrect
	case s.held(), !s.waiting && (s.guide.Settling() || s.taken):
		return PhaseSettle
	}
	return PhasePour
}

// afterWeighing is the first step of the card that comes after the weighing; mixing where it names none.
func (s *State) afterWeighing() Phase {
	for _, step := range s.Start.Card.Steps {
		if step.Kind != "stir" && step.Kind != "degas_a" { // these stand between A and B
			return Phase(step.Kind)
		}
	}
	return PhaseMix
}

// held says whether the part before the one at hand is in doubt: something landed too soon after it was accepted.
func (s *State) held() bool { return s.waiting && (s.early || s.Question.kind == aOrBQuestion) }

// shown is the place of the dosing that is shown as the one at hand.
func (s *State) shown() int {
	if s.held() {
		return s.at - 1
	}
	return s.at
}

// part at hand, empty where there is none.
func (s *State) part() string {
	if !s.OnScale() || !s.cup {
		return ""
	}
	return s.Dosings[s.shown()].Part.Part
}

func (s *State) cue() pour.Cue {
	switch {
	case !s.OnScale():
		return pour.CueDone
	case !s.cup:
		return s.cupCue()
	case s.Question.Ask != "":
		return pour.CueAnswer
	case s.jump != nil: // a moment, until it is asked what that was
		return pour.CueHold
	case s.off, s.Pan.Now.At.IsZero(): // a batch read back from its facts stands on no pan
		return pour.CuePlace
	case s.held(), s.taken:
		return pour.CueHold
	case s.waiting && s.dosing().Correction:
		return pour.CueCorrect
	case s.waiting:
		return pour.CueChangeOver
	}
	return s.guide.Cue()
}

// cupCue before a cup is taken.
func (s *State) cupCue() pour.Cue {
	if s.Question.Ask != "" {
		return pour.CueAnswer
	}
	if len(s.openChecks()) > 0 || s.Pan.Arriving() {
		return pour.CueWait
	}
	return pour.CuePlace
}

// View of the batch; saving says that a write to the ledger is taking long.
func (s *State) View(saving bool) View {
	p := &s.Start.Plan
	v := View{
		ID: s.Start.ID, Material: p.Material, Phase: s.Phase(), Cue: s.cue(), CupNo: 1, Cups: 1, Saving: saving,
		Provable: provable(p) && s.Doubt == "", Error: rounded(s.Error), U: rounded(s.U), PotLife: s.potLife(), Parts: s.parts(),
	}
	if verdict := s.Verdict; verdict != "" { // a view is read by others: nothing in it is the state's own
		v.Verdict = &verdict
	}
	if doubt := s.Doubt; doubt != "" {
		v.Doubt = &doubt
	}
	if question := s.Question; question.Ask != "" {
		v.Question = &question
	}
	if s.part() != "" {
		s.viewPart(&v)
	}
	return v
}

// viewPart adds the part at hand.
func (s *State) viewPart(v *View) {
	i := s.shown()
	d := s.Dosings[i]
	poured := s.poured(i)
	remaining := d.remaining(poured)
	eased := i != s.at || s.guide.Eased()
	band := d.aim().Band(poured, eased)
	flow := s.Pan.Flow()
	v.Part, v.Band, v.Flow = &d.Part.Part, &band, rounded(&flow)
	v.Provable = d.Provable && s.Doubt == "" && s.put == nil && (band != pour.Inside || i != s.at || s.proves())
	v.Target, v.Low, v.High, v.Poured, v.Remaining = &d.Target, &d.Low, &d.High, &poured, &remaining
	if wanted := s.guide.Wanted(); v.Cue == pour.CueEase && wanted > 0 {
		v.Wanted = rounded(&wanted)
	}
	if drops := s.guide.Drops(); v.Cue == pour.CueTopUp && drops > 0 {
		v.Drops = &drops
	}
}

// remaining is what is still to be poured: up to the target, or to where the pour is guided if the window has no target in it.
func (d *Dosing) remaining(poured reading.Mass) reading.Mass {
	if d.Target < d.Low || d.Target > d.High {
		return d.aim().Goal() - poured
	}
	return d.Target - poured
}

// Recue shows another cue than the batch's own, and nothing that belonged to that.
func (v *View) Recue(cue pour.Cue) { v.Cue, v.Wanted, v.Drops = cue, nil, nil }

// proves says whether the ratio would be within if the part at hand ended as it stands. For B its window says so; that of
// an addition which counts and comes last is about its own dose alone, and its edges may leave the ratio unproven.
func (s *State) proves() bool {
	if part := s.dosing().Part.Part; part == "A" || part == "B" || !s.counts(part) || s.at+1 < len(s.Dosings) {
		return true
	}
	then := *s
	then.edit(s.at).Weighings = s.closed(s.Pan.Value())
	_, _, verdict := s.Start.Plan.Judge(then.weighings())
	return verdict == metrology.Within
}

// poured is the total of a dosing's part as it is shown: nothing before it has begun, and what landed too soon with the
// part before while nobody has said whose it is.
func (s *State) poured(i int) reading.Mass {
	if i == s.at && !s.waiting || i == s.at-1 && s.held() && s.Question.Ask == "" {
		return s.closedTotal(i) + s.risen()
	}
	return s.closedTotal(i)
}

// parts are the plan's parts, each with its total; the newest dosing of a part says its target.
func (s *State) parts() []PartView {
	list := make([]PartView, 0, len(s.Start.Plan.Parts))
	for i := range s.Dosings {
		d := &s.Dosings[i]
		view := PartView{Part: d.Part, Accepted: d.Accepted && (i != s.at-1 || !s.held())}
		for _, a := range s.Start.Card.Additions {
			if a.ID == d.Part.Part {
				view.Name, view.StirIn = a.Name, a.StirIn != nil && *a.StirIn
			}
		}
		if s.cup {
			view.Poured = s.poured(i)
		}
		if n := slices.IndexFunc(list, func(p PartView) bool { return p.Part.Part == d.Part.Part }); n >= 0 {
			list[n] = view
		} else {
			list = append(list, view)
		}
	}
	return list
}

// rounded is a figure as it is shown: 3 decimals.
func rounded(f *float64) *float64 {
	if f == nil || math.IsInf(*f, 0) || math.IsNaN(*f) {
		return nil
	}
	shown := math.Round(*f*1000) / 1000
	return &shown
}

// potLife of the mix at the temperature that it was planned for. It is unknown where the clock can't be trusted.
func (s *State) potLife() PotLife {
	if s.Contact.IsZero() {
		return PotLife{}
	}
	started := s.Contact
	p := plan.PotLifeAt(s.Start.Card.PotLife, s.inCup(), s.Start.Plan.TemperatureC)
	if s.Clock != "" {
		p = plan.PotLife{Basis: plan.Unknown}
	}
	life := PotLife{Started: &started, Basis: new(string(p.Basis))}
	if p.Basis != plan.Unknown {
		life.Ends = new(started.Add(p.Time))
	}
	return life
}

// inCup is the mass that the pot life is judged by: what is planned to be in the cup, or what is if that is more.
func (s *State) inCup() reading.Mass {
	var poured reading.Mass
	for _, w := range s.weighings() {
		poured += w.Mass
	}
	return max(poured, s.Start.Plan.TotalG)
}

// DoubtClock is the fact that a clock in doubt makes of a batch whose pot life runs.
func (s *State) DoubtClock(at time.Time, why string) (ClockDoubted, bool) {
	return ClockDoubted{At: at, Why: why}, why != "" && !s.Contact.IsZero() && s.Clock == ""
}
