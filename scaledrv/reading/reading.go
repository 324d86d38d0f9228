package reading

import "time"

// Motion is what the scale says of its own equilibrium.
type Motion uint8

const (
	MotionUnknown Motion = iota // the line shape carries no stability
	Stable
	Moving
)

func (m Motion) String() string { return [...]string{"unknown", "stable", "moving"}[m] }

// Kind says which of the scale's own terms (OIML R 76) the value is.
type Kind uint8

const (
	KindUnknown Kind = iota
	Gross
	Net // gross less tare
)

func (k Kind) String() string { return [...]string{"unknown", "gross", "net"}[k] }

// State is the range the scale is in. Outside Normal there is no weight.
type State uint8

const (
	Normal State = iota
	Over         // above the weighing range
	Under        // below it
	Fault        // the scale reports an error of its own
)

func (s State) String() string { return [...]string{"normal", "over", "under", "fault"}[s] }

// Reading is one whole line of a scale. Value and Mass mean something only while State is Normal.
type Reading struct {
	Value  Value     // as the scale showed it
	Mass   Mass      // the same in picograms, rounded once
	Motion Motion    // the scale's own flag
	Kind   Kind      // gross or net, where the line says
	State  State     // range
	At     time.Time // arrival of the last byte of its line
}
