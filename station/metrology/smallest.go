package metrology

import (
	"math"

	"twocup/scaledrv/reading"
)

// twoDrops is the least that a hand can add, in grams: about two drops (common practice, no source).
const twoDrops = 0.1

// SmallestBatch is the least A + B (with what counts as either) in grams, not rounded, for which B's guarded window is
// wide enough: provable, at least 4 divisions d; pourable, at least two drops as well. For a window of width w and a
// tolerance t, half of high less low, the batch is (1 + r)/(r·t) · (w/2 + U_B), with U_B = 2·B·u_r/r of the given
// weighings. Their masses matter only where they are on several scales, for what each of these weighs. Both are
// infinite where densities and gains alone leave no window.
func (m Model) SmallestBatch(w []Weighing, r float64, t Tolerance, d reading.Mass) (provable, pourable float64) {
	v := m.variance(w)
	if severalScales(w) {
		a, b := m.Equivalents(w)
		v.rho += m.gain(w, a, b)
	}
	width := 4 * d.Grams()
	return v.batch(width, r, t), v.batch(max(width, twoDrops), r, t)
}

// batch solves B·t = width/2 + U_B for B. With densities U_B grows with B, U_B² = 4·(k² + rho·B²), and the equation
// is quadratic.
func (v variance) batch(width, r float64, t Tolerance) float64 {
	tolerance := (t.HighPct - t.LowPct) / 200
	k2 := v.aa*r*r + v.ab*r + v.bb
	lead := tolerance*tolerance - 4*v.rho
	if !(lead > 0) {
		return math.Inf(1)
	}
	half := width / 2
	b := (tolerance*half + math.Sqrt(tolerance*tolerance*half*half-lead*(half*half-4*k2))) / lead
	return b * (1 + r) / r
}

// SmallestWeighing is the least mass in grams that one weighing difference on a division d gives to ± pct percent:
// 2·u/pct with u as in DifferenceU. It is the rule of USP <41> (2019) for its 0.10 %, with the rounding of two readings
// as 0.41 d.
func (s Scale) SmallestWeighing(d reading.Mass, pct float64) float64 {
	return 200 * s.DifferenceU(d) / pct
}
