package simulator

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"twocup/scaledrv/reading"
)

// ScaleOptions says what scale stands on the bench. The zero value is a scale of 6 kg by 0.1 g, ten lines a second.
type ScaleOptions struct {
	Division     reading.Mass  // step of the display in Unit; 0 means 0.1 g, or what the unit key makes of it in units that are not metric
	Capacity     reading.Mass  // above it and 9 divisions the scale shows no weight; 0 means 6 kg
	Lowest       reading.Mass  // below this gross, which is negative, it shows none either; 0 means minus Capacity
	Unit         string        // that it is switched on with, see Bench.Unit; "" means g
	RateHz       float64       // displayed values a second, and lines unless OnRequest is given, at most 200; 0 means 10
	Shape        string        // of its lines, one of Shapes; "" means status-comma
	Line         LineOptions   // settings of that shape
	Baud         int           // of the line; 0 means 9600
	Frame        string        // data bits, parity and stop bits of the line; "" means 8N1
	Lag          time.Duration // mean delay of load cell and filter together; 0 means 300 ms
	NoiseSD      float64       // standard deviation of a value before it is rounded, in divisions; 0 means 0.3, negative none
	ZeroTracking float64       // divisions a second near zero, at most 0.5; 0 means none
	StableFor    time.Duration // values must lie within one division for so long to be called stable; 0 means 500 ms
	AutoOff      time.Duration // it switches itself off after so long without a key or a change of load; 0 means never

	// What the scale does on bytes from the host, which are these and nothing else, line end included where it has one.
	OnRequest   []byte // sends one line; empty: it sends lines unasked
	TareCommand []byte // presses TARE; empty: it knows none
	ZeroCommand []byte // presses ZERO; empty: it knows none
}

func (o ScaleOptions) withDefaults() (ScaleOptions, error) {
	orDefault(&o.Unit, "g")
	orDefault(&o.Capacity, 6*reading.Kilogram)
	orDefault(&o.Lowest, -o.Capacity)
	orDefault(&o.Shape, "status-comma")
	orDefault(&o.Frame, "8N1")
	orDefault(&o.RateHz, 10)
	orDefault(&o.Baud, 9600)
	orDefault(&o.Lag, 300*time.Millisecond)
	orDefault(&o.NoiseSD, 0.3)
	orDefault(&o.StableFor, 500*time.Millisecond)
	o.NoiseSD = max(o.NoiseSD, 0)
	if o.Division == 0 {
		if err := o.usualDivision(); err != nil {
			return o, err
		}
	}
	switch {
	case o.Division < 0 || o.Capacity < o.Division:
		return o, fmt.Errorf("division %v with capacity %v: a scale needs a positive division below its capacity", o.Division, o.Capacity)
	case !(o.RateHz > 0 && o.RateHz <= 200):
		return o, fmt.Errorf("rate %v lines a second: give more than 0 and at most 200", o.RateHz)
	case o.Lag < 0 || o.StableFor < 0 || o.AutoOff < 0:
		return o, fmt.Errorf("lag %v, stable for %v, auto-off %v: none of them may be negative", o.Lag, o.StableFor, o.AutoOff)
	case o.Lowest > 0:
		return o, fmt.Errorf("lowest load %v: give a negative one", o.Lowest)
	case !(o.ZeroTracking >= 0 && o.ZeroTracking <= 0.5):
		return o, fmt.Errorf("zero tracking of %v divisions a second: give 0 to 0.5", o.ZeroTracking)
	}
	return o, nil
}

// usualDivision is 0.1 g, or where no decimal number of the unit gives it what the unit key makes of it.
func (o *ScaleOptions) usualDivision() error {
	o.Division = reading.Gram / 10
	if _, exact, err := newFace(o.Unit, o.Division); err != nil || exact {
		return err
	}
	f, _, err := unitKey(*o, o.Unit)
	o.Division = reading.Mass(f.division)
	return err
}

// orDefault puts a default in place of a zero.
func orDefault[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

// lowPass is a first-order response: y' = (x − y)/τ, exact for an input that stands still within a step.
type lowPass struct{ y, share float64 }

func newLowPass(tau time.Duration) lowPass { return lowPass{share: approach(tau)} }

// approach is the share of the way to a standing input that a first-order response goes in one step: 1 − exp(−Step/τ).
func approach(tau time.Duration) float64 { return -math.Expm1(-Step.Seconds() / tau.Seconds()) }

func (f *lowPass) step(x float64) { f.y += (x - f.y) * f.share }

// CellShare is the part of the lag that is the load cell's; the terminal's filter has the rest. From memory: a cell
// swings to rest in some tens of milliseconds.
const CellShare = 1.0 / 6

// scale turns the load on the pan into displayed values. Masses in float64 are picograms.
type scale struct {
	opt          ScaleOptions
	face         face
	random       *rand.Rand
	cell, filter lowPass
	period       time.Duration // between two displayed values
	off          bool
	zero, tare   float64 // load that counts as zero; gross that counts as tare
	net          bool    // a tare is set
	recent       []int64 // displayed values of the last StableFor, in divisions
	taken        int     // displayed values since the start
	fault        bool
	restedAt     float64       // load when it last changed
	resting      time.Duration // since then, or since the last key
}

// display is what the scale shows: whole divisions of the present face, the tare in the same, and the flags beside them.
// What is over, under or at fault has no value.
type display struct {
	divisions, tare    int64
	stable, net        bool
	over, under, fault bool
}

func newScale(opt ScaleOptions, face face, seed uint64) *scale {
	period := time.Duration(float64(time.Second) / opt.RateHz)
	cellLag := time.Duration(CellShare * float64(opt.Lag))
	return &scale{
		opt:    opt,
		face:   face,
		random: rand.New(rand.NewPCG(seed, 'S')),
		cell:   newLowPass(cellLag),
		filter: newLowPass(opt.Lag - cellLag),
		period: period,
		// One value more than periods in StableFor, so that first and last lie at least that far apart.
		recent: make([]int64, 1+(opt.StableFor+period-1)/period),
	}
}

// step lets a load act on the pan for one Step.
func (s *scale) step(load float64) {
	s.cell.step(load)
	s.filter.step(s.cell.y)
}

// sample makes the next displayed value. It is to be called once in a period.
func (s *scale) sample() display {
	s.trackZero()
	d, e := s.face.division, float64(s.opt.Division)
	gross := s.filter.y - s.zero
	shown := display{
		divisions: int64(math.Round((gross-s.tare)/d + e/d*s.opt.NoiseSD*s.random.NormFloat64())),
		tare:      int64(math.Round(s.tare / d)),
		net:       s.net,
		over:      gross > float64(s.opt.Capacity)+9*e, // OIML R 76-1, from memory: no indication above Max + 9 e
		under:     gross < float64(s.opt.Lowest),
		fault:     s.fault,
	}
	s.recent[s.taken%len(s.recent)] = shown.divisions
	s.taken++
	shown.stable = s.stable()
	return shown
}

// stable: the values of StableFor are one value or two adjacent ones (OIML R 76-1, from memory).
func (s *scale) stable() bool {
	if s.taken < len(s.recent) {
		return false
	}
	low, high := s.recent[0], s.recent[0]
	for _, n := range s.recent {
		low, high = min(low, n), max(high, n)
	}
	return high-low <= 1
}

// trackZero moves the zero after a load within half a division of it (OIML R 76-1, from memory: at most 0.5 e a second,
// only at zero and in equilibrium).
func (s *scale) trackZero() {
	d := float64(s.opt.Division)
	gross := s.filter.y - s.zero
	if s.opt.ZeroTracking == 0 || math.Abs(gross) > d/2 || !s.stable() {
		return
	}
	most := s.opt.ZeroTracking * d * s.period.Seconds()
	s.zero += max(-most, min(gross, most))
}

// jump says that the display goes to a value at once, as it does on a key: it stays stable.
func (s *scale) jump(divisions int64) {
	for i := range s.recent {
		s.recent[i] = divisions
	}
}

var errNotStable = errors.New("the scale is not stable (wait until it is)")

// pressTare makes the present gross the tare; at zero it clears the tare.
func (s *scale) pressTare() error {
	gross := s.filter.y - s.zero
	switch {
	case s.off || !s.stable():
		return fmt.Errorf("press TARE: %w", errNotStable)
	case gross > float64(s.opt.Capacity) || gross < -float64(s.opt.Division)/2:
		return errors.New("press TARE: the load is outside the weighing range (put a load on, or press ZERO)")
	}
	s.net = gross > float64(s.opt.Division)/2
	s.tare = gross
	if !s.net {
		s.tare = 0
	}
	s.jump(0)
	s.resting = 0
	return nil
}

// pressZero makes the present load zero and clears the tare, within 2 % of capacity either side of the zero that the
// scale was switched on with (OIML R 76-1, from memory: a range of at most 4 % of Max).
func (s *scale) pressZero() error {
	switch {
	case s.off || !s.stable():
		return fmt.Errorf("press ZERO: %w", errNotStable)
	case math.Abs(s.filter.y-s.zero) > 0.02*float64(s.opt.Capacity):
		return errors.New("press ZERO: the load is above 2 % of capacity (take it off, or press TARE)")
	}
	s.zero, s.tare, s.net = s.filter.y, 0, false
	s.jump(0)
	s.resting = 0
	return nil
}

// power switches the scale. On coming back whatever stands on the pan is zero, and there is no tare.
func (s *scale) power(on bool) {
	if on && s.off {
		s.zero, s.tare, s.net, s.taken, s.resting = s.filter.y, 0, false, 0, 0
	}
	s.off = !on
}

// tired says whether the scale's auto-off is due. It is to be called once in a period.
func (s *scale) tired() bool {
	s.resting += s.period
	if math.Abs(s.filter.y-s.restedAt) >= float64(s.opt.Division) {
		s.restedAt, s.resting = s.filter.y, 0
	}
	return s.opt.AutoOff > 0 && s.resting >= s.opt.AutoOff
}

// show goes over to another face. What was stable stays so.
func (s *scale) show(f face) {
	stable := s.stable()
	s.face, s.resting = f, 0
	if stable {
		s.jump(int64(math.Round((s.filter.y - s.zero - s.tare) / f.division)))
	} else {
		s.taken = 0
	}
}
