package metrology

import (
	"math"

	"twocup/scaledrv/reading"
)

// Weighing is one difference of two readings: how much of a part went into the cup between them. A part may have
// several: one more for each new reference (tare, lift, restart) and for a correction.
type Weighing struct {
	Part   string       // "A", "B", or an addition, which counts as Model.Counts says
	Mass   reading.Mass // last reading less first
	FromD  reading.Mass // division in force at the first reading
	ToD    reading.Mass // division in force at the last reading
	Shared bool         // its first reading is the last reading of the weighing before it
	Scale  int          // its place in Model.Scales
	// Follows is for an addition still to come, which is dosed by the part that is open: so much more than Mass for
	// each gram of that part's total. Only Window looks at it.
	Follows float64
}

// Scale is what is known of a scale.
type Scale struct {
	Repeatability reading.Mass // standard deviation of one weighing difference as displayed; 0: not stated, one division is assumed
	Linearity     reading.Mass // largest error of a weighing difference from non-linearity; 0: none stated
	GainU         float64      // relative standard uncertainty of its gain (GainUFromCheck); it cancels where one scale weighs everything
}

// Share is how much of an addition's mass counts as A and as B, each from 0 to 1.
type Share struct{ A, B float64 }

// Model is what is known of the scales, and of the ratio that they are to prove.
type Model struct {
	Scales   []Scale          // a weighing on a scale that is not listed is on one of which nothing is stated
	Counts   map[string]Share // of additions; one that is not listed does not count, only its readings do
	DensityU float64          // relative standard uncertainty of the wanted ratio from densities; 0 by weight
}

func (m Model) scale(place int) Scale {
	if place < len(m.Scales) {
		return m.Scales[place]
	}
	return Scale{}
}

func (m Model) share(part string) Share {
	switch part {
	case "A":
		return Share{A: 1}
	case "B":
		return Share{B: 1}
	}
	return m.Counts[part]
}

// RatioU is the relative standard uncertainty of B/A, with A and B as Equivalents gives them (JCGM 100:2008, 5.2.2). It
// is infinite where A or B is not positive.
func (m Model) RatioU(w []Weighing) float64 {
	a, b := m.Equivalents(w)
	return m.variance(w).u(a, b, m.gain(w, a, b))
}

// Totals are the masses of A and of B over all of their weighings, without additions.
func Totals(w []Weighing) (a, b reading.Mass) {
	for _, x := range w {
		switch x.Part {
		case "A":
			a += x.Mass
		case "B":
			b += x.Mass
		}
	}
	return a, b
}

// Equivalents are the masses in grams that the ratio is about: A and B, and the share of each addition that counts.
func (m Model) Equivalents(w []Weighing) (a, b float64) {
	massA, massB := Totals(w)
	a, b = massA.Grams(), massB.Grams()
	for _, x := range w {
		if x.Part != "A" && x.Part != "B" {
			share := m.Counts[x.Part]
			a += share.A * x.Mass.Grams()
			b += share.B * x.Mass.Grams()
		}
	}
	return a, b
}

// variance is the relative variance of B/A from the readings and the densities, as a function of the two masses in
// grams: aa/A² + ab/(A·B) + bb/B² + rho. It depends on which readings there are, not on what they showed.
type variance struct{ aa, ab, bb, rho float64 }

// u is the relative standard uncertainty; gain is the relative variance from the gains of several scales.
func (v variance) u(a, b, gain float64) float64 {
	if !(a > 0 && b > 0) {
		return math.Inf(1)
	}
	return math.Sqrt(v.aa/(a*a) + v.ab/(a*b) + v.bb/(b*b) + v.rho + gain)
}

// sensitivity of ln(B/A) to one reading is a/A + b/B.
type sensitivity struct{ a, b float64 }

// variance sums over the distinct readings, then over the differences for linearity, a rectangular error of ± L in
// each (JCGM 100:2008, 4.3.7).
func (m Model) variance(w []Weighing) variance {
	v := variance{rho: m.DensityU * m.DensityU}
	var end sensitivity // of the last reading seen, not yet added: the next weighing may share it
	var endU2 float64
	for _, x := range w {
		share, scale := m.share(x.Part), m.scale(x.Scale)
		begin, beginU2 := sensitivity{}, scale.readingVariance(x.FromD)
		if x.Shared {
			begin, beginU2 = end, max(endU2, beginU2)
		} else {
			v.add(end, endU2)
		}
		begin.a, begin.b = begin.a+share.A, begin.b-share.B
		v.add(begin, beginU2)
		end, endU2 = sensitivity{-share.A, share.B}, scale.readingVariance(x.ToD)

		l := scale.Linearity.Grams()
		v.add(end, l*l/3)
	}
	v.add(end, endU2)
	return v
}

func (v *variance) add(s sensitivity, u2 float64) {
	v.aa += s.a * s.a * u2
	v.ab += 2 * s.a * s.b * u2
	v.bb += s.b * s.b * u2
}

// readingVariance is u² of one reading in g²: half of a difference's.
func (s Scale) readingVariance(d reading.Mass) float64 {
	u := s.DifferenceU(d)
	return u * u / 2
}

// DifferenceU is the standard uncertainty in grams of one weighing difference on a division d: the scale's
// repeatability, never below the rounding of two readings, d/√6 (JCGM 100:2008, 5.1.2 and F.2.2.1).
func (s Scale) DifferenceU(d reading.Mass) float64 {
	if s.Repeatability == 0 {
		return d.Grams()
	}
	return max(s.Repeatability.Grams(), d.Grams()/math.Sqrt(6))
}

// gain is the relative variance of B/A from the gains of the scales: Σ c²·(B'/B − A'/A)², with A' and B' what one scale
// weighed of A and B and c the uncertainty of its gain (JCGM 100:2008, 5.1.6). With one scale it is 0: the error is
// common to both masses.
func (m Model) gain(w []Weighing, a, b float64) float64 {
	sum := 0.0
	if !severalScales(w) {
		return sum // exactly, whatever the digits of A and B do
	}
	for place, scale := range m.Scales {
		var onA, onB float64
		for _, x := range w {
			if x.Scale == place {
				share := m.share(x.Part)
				onA += share.A * x.Mass.Grams()
				onB += share.B * x.Mass.Grams()
			}
		}
		uneven := scale.GainU * (onB/b - onA/a)
		sum += uneven * uneven
	}
	return sum
}

// severalScales says whether the weighings are on more than one scale.
func severalScales(w []Weighing) bool {
	for _, x := range w {
		if x.Scale != w[0].Scale {
			return true
		}
	}
	return false
}

// GainUFromCheck is the relative standard uncertainty of a scale's gain from one check with a weight of the nominal mass and the
// largest error mpe that its class allows: √(mpe²/3 + u²)/nominal, with u of one weighing difference on a division d
// (JCGM 100:2008, 4.3.7 and 5.1.2; the mpe of weights: OIML R 111-1:2004, table 1).
func (s Scale) GainUFromCheck(nominal, mpe, d reading.Mass) float64 {
	return math.Hypot(mpe.Grams()/math.Sqrt(3), s.DifferenceU(d)) / nominal.Grams()
}
