package metrology

// Tolerance is how far B may be from r·A, in percent of B relative to A: LowPct ≤ 0 ≤ HighPct. An infinite limit is a
// side left open.
type Tolerance struct {
	LowPct  float64 `json:"low"`
	HighPct float64 `json:"high"`
	// Range says that the limits are those of a range of ratios, so far from r that a percent of B/A is not a percent of r.
	Range bool `json:"range,omitempty"`
}

// guard is an uncertainty in percent of B/A, in the percent of r that errors and limits are in. Of a range it is
// converted; within a tolerance of some percent it is taken as it is.
func (t Tolerance) guard(errorPct, uPct float64) float64 {
	if t.Range {
		return uPct * (1 + errorPct/100)
	}
	return uPct
}

// Verdict on a ratio by the decision rule of JCGM 106:2012 with guard bands of one expanded uncertainty.
type Verdict string

const (
	Within   Verdict = "within"   // shown inside the tolerance
	Unproven Verdict = "unproven" // shown neither inside nor outside
	Outside  Verdict = "outside"  // shown outside the tolerance
)

// Judge compares, unrounded: within by guarded acceptance (JCGM 106:2012, 8.3.2), outside by guarded rejection
// (8.3.3). An uncertainty that is infinite or no number proves nothing.
func Judge(errorPct, uPct float64, t Tolerance) Verdict {
	guard := t.guard(errorPct, uPct)
	switch {
	case errorPct-guard >= t.LowPct && errorPct+guard <= t.HighPct:
		return Within
	case errorPct+guard < t.LowPct || errorPct-guard > t.HighPct:
		return Outside
	}
	return Unproven
}

// Judgement is the error of B/A against the wanted ratio r, 100·(B/(r·A) − 1), its expanded uncertainty
// U = 200·u(B/A)/(B/A), both in percent, and the verdict. Without a positive A and B, uPct is infinite, errorPct may
// be no number, and nothing is proven.
func (m Model) Judgement(w []Weighing, r float64, t Tolerance) (errorPct, uPct float64, v Verdict) {
	a, b := m.Equivalents(w)
	return judgement(m.variance(w), m.gain(w, a, b), a, b, r, t)
}

func judgement(v variance, gain, a, b, r float64, t Tolerance) (errorPct, uPct float64, verdict Verdict) {
	errorPct = 100 * (b/(r*a) - 1)
	uPct = 200 * v.u(a, b, gain)
	return errorPct, uPct, Judge(errorPct, uPct, t)
}
