package batch

import (
	"encoding/json"
	"fmt"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
	"twocup/station/plan"
)

// Fact is something that happened to a batch, in the form the ledger keeps.
type Fact interface {
	Kind() string // its name in the ledger
	When() time.Time
}

// inForce marks a fact that the state has taken already when it was decided, since it only follows the pan: to become
// durable changes nothing then. It does not outlive the process: a replay takes every fact.
type inForce struct{ already bool }

func (i inForce) taken() bool { return i.already }

// Started is the first fact of every batch.
type Started struct {
	At       time.Time           `json:"at"`
	ID       string              `json:"id"`
	Station  string              `json:"station"`
	Operator string              `json:"operator,omitempty"`
	Lots     map[string][]string `json:"lots,omitempty"`
	Practice bool                `json:"practice,omitempty"`
	Card     material.Stored     `json:"card"` // the revision that this batch keeps
	Plan     plan.Plan           `json:"plan"`
	Auto     Auto                `json:"auto"`
	Amount   *plan.Amount        `json:"amount,omitempty"`      // as it was asked for; nil where it was recorded before that was kept
	BPer100A *float64            `json:"b_per_100_a,omitempty"` // as it was chosen; nil: the card's ratio
	Again    *Again              `json:"again,omitempty"`
	Habits   Habits              `json:"-"` // of the operator, where they are known; kept nowhere with the fact
}

// Again is the batch that one was started like, and the revision of the card that it had.
type Again struct {
	Batch    string `json:"batch"`
	Revision int    `json:"revision"`
}

// Auto says what the station does without being told.
type Auto struct {
	Tare     bool          `json:"tare"`      // a cup placed becomes the reference
	Accept   bool          `json:"accept"`    // a part inside its window and at rest is accepted
	Settle   time.Duration `json:"settle"`    // how long it must be at rest for that, in nanoseconds
	HandOver time.Duration `json:"hand_over"` // a rise sooner than this after a part was accepted is still that part
}

// CupTaken says from which value of the scale the first part is counted.
type CupTaken struct {
	inForce
	At        time.Time      `json:"at"`
	Reference plan.Picograms `json:"reference_pg"`
	Division  plan.Picograms `json:"division_pg"`
}

// Referenced says that the part at hand is counted from a new value: a key of the scale, the cup back on the pan, a
// change of the display's step, or the station's own tare.
type Referenced struct {
	inForce
	At        time.Time      `json:"at"`
	Why       string         `json:"why"`                 // key, tared, cup_back, same_cup, division, fell, put_in, taken_out, tare
	Dosing    int            `json:"dosing"`              // the one at hand
	Weighings []Weighing     `json:"weighings,omitempty"` // what it has up to then
	Reference plan.Picograms `json:"reference_pg"`
	Division  plan.Picograms `json:"division_pg"`
	Part      *plan.Part     `json:"part,omitempty"` // its window for the readings that this adds; nil: as before
	Provable  bool           `json:"provable"`
	Left      [][]Weighing   `json:"left,omitempty"`       // the weighings of every dosing, where some of the mix was lost
	Foreign   plan.Picograms `json:"foreign_pg,omitempty"` // what is in the cup or on it and was not poured
}

// Jumped says that the value went to about zero with no values in between: a key of the scale, the scale switched off
// and on, or the cup lifted. Which of them, a Referenced or an Answered says.
type Jumped struct {
	inForce
	At     time.Time      `json:"at"`
	From   plan.Picograms `json:"from_pg"` // the value before
	To     plan.Picograms `json:"to_pg"`
	Silent bool           `json:"silent"` // after a silence of the scale
	Clean  bool           `json:"clean"`  // the value was at rest before
}

// Answered is a person's answer that changes no reference.
type Answered struct {
	At     time.Time `json:"at"`
	Answer string    `json:"answer"` // lifted, poured
}

// Doubted says that something happened at the pan after which the station can't say what is in the cup. The verdict is
// unproven from then on, and nothing is green.
type Doubted struct {
	inForce
	At  time.Time `json:"at"`
	Why string    `json:"why"`
}

// Begun is the first of a part to land on the part before it; of B it is the first contact.
type Begun struct {
	At   time.Time `json:"at"` // when the rise began, not when it was noticed
	Part string    `json:"part"`
	By   string    `json:"by"` // rise, or the action that said so
}

// Accepted closes a dosing: with the next one or, after the last, with the verdict.
type Accepted struct {
	At        time.Time         `json:"at"`
	Dosing    int               `json:"dosing"` // its place in the list
	Part      string            `json:"part"`
	By        string            `json:"by"` // auto or accept
	Weighings []Weighing        `json:"weighings"`
	Poured    reading.Mass      `json:"poured_g"` // the part's total
	Flow      float64           `json:"flow_g_s"` // its mean while it was poured
	Next      *Dosing           `json:"next,omitempty"`
	ErrorPct  *float64          `json:"ratio_error_pct,omitempty"` // unrounded
	UPct      *float64          `json:"uncertainty_pct,omitempty"` // unrounded
	Verdict   metrology.Verdict `json:"verdict,omitempty"`
}

// Reopened takes the acceptance of the newest accepted dosing back, and the verdict with it.
type Reopened struct {
	inForce
	At     time.Time `json:"at"`
	Dosing int       `json:"dosing"`
	Part   string    `json:"part"`
	Why    string    `json:"why"` // drip, landed, to_a, to_b, reopen
}

// ClockDoubted says that the clock can't be compared with what it showed before: the pot life that runs is unknown.
type ClockDoubted struct {
	At  time.Time `json:"at"`
	Why string    `json:"why"`
}

// Noted is a text of a person's.
type Noted struct {
	At       time.Time `json:"at"`
	Text     string    `json:"text"`
	Operator string    `json:"operator,omitempty"`
}

// Overridden lets the batch go on in spite of a check that says stop.
type Overridden struct {
	At       time.Time `json:"at"`
	Check    string    `json:"check"`
	Reason   string    `json:"reason"`
	Operator string    `json:"operator"`
}

// Ended is final. What the part at hand had in the cup stands in Weighings.
type Ended struct {
	At        time.Time  `json:"at"`
	Phase     Phase      `json:"phase"` // scrapped or abandoned
	Reason    string     `json:"reason,omitempty"`
	Dosing    int        `json:"dosing"`
	Weighings []Weighing `json:"weighings,omitempty"`
}

func (Started) Kind() string      { return "started" }
func (CupTaken) Kind() string     { return "cup_taken" }
func (Referenced) Kind() string   { return "referenced" }
func (Jumped) Kind() string       { return "jumped" }
func (Answered) Kind() string     { return "answered" }
func (Doubted) Kind() string      { return "doubted" }
func (Begun) Kind() string        { return "begun" }
func (Accepted) Kind() string     { return "accepted" }
func (Reopened) Kind() string     { return "reopened" }
func (ClockDoubted) Kind() string { return "clock_doubted" }
func (Noted) Kind() string        { return "noted" }
func (Overridden) Kind() string   { return "overridden" }
func (Ended) Kind() string        { return "ended" }

func (f Started) When() time.Time      { return f.At }
func (f CupTaken) When() time.Time     { return f.At }
func (f Referenced) When() time.Time   { return f.At }
func (f Jumped) When() time.Time       { return f.At }
func (f Answered) When() time.Time     { return f.At }
func (f Doubted) When() time.Time      { return f.At }
func (f Begun) When() time.Time        { return f.At }
func (f Accepted) When() time.Time     { return f.At }
func (f Reopened) When() time.Time     { return f.At }
func (f ClockDoubted) When() time.Time { return f.At }
func (f Noted) When() time.Time        { return f.At }
func (f Overridden) When() time.Time   { return f.At }
func (f Ended) When() time.Time        { return f.At }

// DecodeFact reads a fact back from the ledger. A kind from a later version is an error that names it.
func DecodeFact(kind string, body []byte) (Fact, error) {
	switch kind {
	case "started":
		return decode[Started](body)
	case "cup_taken":
		return decode[CupTaken](body)
	case "referenced":
		return decode[Referenced](body)
	case "jumped":
		return decode[Jumped](body)
	case "answered":
		return decode[Answered](body)
	case "doubted":
		return decode[Doubted](body)
	case "begun":
		return decode[Begun](body)
	case "accepted":
		return decode[Accepted](body)
	case "reopened":
		return decode[Reopened](body)
	case "clock_doubted":
		return decode[ClockDoubted](body)
	case "noted":
		return decode[Noted](body)
	case "overridden":
		return decode[Overridden](body)
	case "ended":
		return decode[Ended](body)
	}
	return nil, fmt.Errorf("unknown kind of fact %q (written by a later version?)", kind)
}

func decode[F Fact](body []byte) (Fact, error) {
	var f F
	if err := json.Unmarshal(body, &f); err != nil {
		return nil, fmt.Errorf("read a fact of kind %q: %w", f.Kind(), err)
	}
	return f, nil
}
