package metrology

import (
	"math"

	"twocup/scaledrv/reading"
)

// twoDrops is the least that a hand can add, in grams: about two drops (common practice, no source).
const twoDrops = 0.1

// SmallestBatch is the least A + B in grams, not rounded, for which B's guarded window is wide enough: provable, at
// least 4 divisions d; pourable, at least two drops as well. For a window of width w and a tolerance t, half of high
// less low, the batch is (1 + r)/(r·t) · (w/2 + U_B), with U_B = 2·B·u_r/r of the given weighings; their masses don't
// matter. Both are infinite where the densities alone leave no window.
func (m Model) SmallestBatch(w []Weighing, r float64, t Tolerance, d reading.Mass) (provable, pourable float64) {
	v := m.variance(w)
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
