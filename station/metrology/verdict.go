package metrology

// Tolerance is how far B may be from r·A, in percent of B relative to A: LowPct ≤ 0 ≤ HighPct. An infinite limit is a
// side left open.
type Tolerance struct {
	LowPct  float64 `json:"low"`
	HighPct float64 `json:"high"`
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
	switch {
	case errorPct-uPct >= t.LowPct && errorPct+uPct <= t.HighPct:
		return Within
	case errorPct+uPct < t.LowPct || errorPct-uPct > t.HighPct:
		return Outside
	}
	return Unproven
}

// Judgement is the error of B/A against the wanted ratio r, 100·(B/(r·A) − 1), its expanded uncertainty
// U = 200·u(B/A)/(B/A), both in percent, and the verdict. Without a positive A and B, uPct is infinite, errorPct may
// be no number, and nothing is proven.
func (m Model) Judgement(w []Weighing, r float64, t Tolerance) (errorPct, uPct float64, v Verdict) {
	a, b := Totals(w)
	return judgement(m.variance(w), a.Grams(), b.Grams(), r, t)
}

func judgement(v variance, a, b, r float64, t Tolerance) (errorPct, uPct float64, verdict Verdict) {
	errorPct = 100 * (b/(r*a) - 1)
	uPct = 200 * v.u(a, b)
	return errorPct, uPct, Judge(errorPct, uPct, t)
}
