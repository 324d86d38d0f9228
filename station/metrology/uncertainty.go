package metrology

import (
	"math"

	"twocup/scaledrv/reading"
)

// Weighing is one difference of two readings: how much of a part went into the cup between them. A part may have
// several: one more for each new reference (tare, lift, restart) and for a correction.
type Weighing struct {
	Part   byte         // 'A' or 'B'; of anything else only the readings count, as it belongs to neither mass
	Mass   reading.Mass // last reading less first
	FromD  reading.Mass // division in force at the first reading
	ToD    reading.Mass // division in force at the last reading
	Shared bool         // its first reading is the last reading of the weighing before it
}

// Model is what is known of a scale, and of the ratio it is to prove.
type Model struct {
	Repeatability reading.Mass // standard deviation of one weighing difference as displayed; 0: not stated, one division is assumed
	Linearity     reading.Mass // largest error of a weighing difference from non-linearity; 0: none stated
	DensityU      float64      // relative standard uncertainty of the wanted ratio from densities; 0 by weight
}

// RatioU is the relative standard uncertainty of B/A, with A and B the sums of their weighings (JCGM 100:2008,
// 5.2.2). It is infinite where A or B is not positive.
func (m Model) RatioU(w []Weighing) float64 {
	a, b := Totals(w)
	return m.variance(w).u(a.Grams(), b.Grams())
}

// Totals are the masses of A and of B over all of their weighings.
func Totals(w []Weighing) (a, b reading.Mass) {
	for _, x := range w {
		switch x.Part {
		case 'A':
			a += x.Mass
		case 'B':
			b += x.Mass
		}
	}
	return a, b
}

// variance is the relative variance of B/A as a function of the two masses in grams:
// aa/A² + ab/(A·B) + bb/B² + rho. It depends on which readings there are, not on what they showed.
type variance struct{ aa, ab, bb, rho float64 }

func (v variance) u(a, b float64) float64 {
	if !(a > 0 && b > 0) {
		return math.Inf(1)
	}
	return math.Sqrt(v.aa/(a*a) + v.ab/(a*b) + v.bb/(b*b) + v.rho)
}

// sensitivity of ln(B/A) to one reading is a/A + b/B.
type sensitivity struct{ a, b float64 }

// variance sums over the distinct readings, then over the differences for linearity, a rectangular error of ± L in
// each (JCGM 100:2008, 4.3.7).
func (m Model) variance(w []Weighing) variance {
	v := variance{rho: m.DensityU * m.DensityU}
	linearity := m.Linearity.Grams() * m.Linearity.Grams() / 3
	var end sensitivity // of the last reading seen, not yet added: the next weighing may share it
	var endD reading.Mass
	for _, x := range w {
		begin, beginD := sensitivity{}, x.FromD
		if x.Shared {
			begin, beginD = end, max(endD, x.FromD)
		} else {
			v.add(end, m.readingVariance(endD))
		}
		end, endD = sensitivity{}, x.ToD
		switch x.Part {
		case 'A':
			begin.a, end.a = begin.a+1, -1
			v.aa += linearity
		case 'B':
			begin.b, end.b = begin.b-1, 1
			v.bb += linearity
		}
		v.add(begin, m.readingVariance(beginD))
	}
	v.add(end, m.readingVariance(endD))
	return v
}

func (v *variance) add(s sensitivity, u2 float64) {
	v.aa += s.a * s.a * u2
	v.ab += 2 * s.a * s.b * u2
	v.bb += s.b * s.b * u2
}

// readingVariance is u² of one reading in g²: half of a difference's, which is never below its own rounding, d²/6
// (JCGM 100:2008, 5.1.2 and F.2.2.1).
func (m Model) readingVariance(d reading.Mass) float64 {
	s := m.Repeatability
	if s == 0 {
		s = d
	}
	return max(s.Grams()*s.Grams(), d.Grams()*d.Grams()/6) / 2
}
