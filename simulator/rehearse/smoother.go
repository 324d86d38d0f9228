package rehearse

import (
	"math"
	"time"

	"twocup/simulator"
)

// smoother says when a pour has settled as well as anyone could who sees nothing but the display: it knows the simulator's
// true parameters, and waits until it is 99 % sure that less than half a division is still to land. What our guidance takes
// longer than this is its own, or is the display's: so the smoother also says when less than that is still to show, too.
//
// It sees the displayed values from the true stop on and takes them for M − q·s₁(t) − f·s₂(t) + noise. M is the value at
// the end, of which it knows nothing; q is the steady flow out of the vessel that ended at the stop, f what was on its lip;
// s(t) is what one unit of them still lacks on the display (see runOff). Both are expected as the flow at the stop would
// have them, had it always been so: q give or take all of it, f as much as a flow along the lip alone would keep there,
// because a faster flow before may have left more. A flow below the slowest steady one counts as that in the two spreads.
// The noise is independent from value to value, with the variance of the scale's own and of rounding, d²/12. The posterior
// is that of linear regression with a normal prior (Bishop, Pattern Recognition and Machine Learning, 2006, eq. 3.50 and
// 3.51, from memory). A negative flow is not ruled out.
//
// The last of the tail falls in drops and not evenly: a drop that falls later than what was expected is an event of its own.
type smoother struct {
	pour, lip    runOff
	mean, sd     [2]float64 // expected of q in g/s, of f in g
	noise        float64    // variance of a displayed value, g²
	bearable     float64    // g that may still come
	first        float64    // displayed, in g; y is from there
	n, y         float64    // sums over the values, x being s(t)
	x, xy        [2]float64
	xx           [2][2]float64
	ended, stood time.Duration // when it was sure that nothing is to land; and that the display shows all that has
}

// sureness is the quantile of the normal distribution at 0.99.
var sureness = math.Sqrt2 * math.Erfinv(2*0.99-1)

// newSmoother is one for a stop out of a flow in g/s.
func newSmoother(c Cell, flow float64) smoother {
	pour, lip := newRunOffs(c)
	d, most := c.Scale.Division, max(flow, c.Slowest)
	tail := c.liquid().TailFor.Seconds()
	return smoother{
		pour: pour, lip: lip, mean: [2]float64{flow, flow * pour.share * tail}, sd: [2]float64{most, most * tail},
		noise: d * d * variance(max(0, c.Scale.Noise), c.Scale.Rate*max(tail, c.Scale.Lag)), bearable: d / 2,
	}
}

// variance of a displayed value in d², with the scale's own noise in d, that counts as independent of the others. Rounding
// adds 1/12, but where the noise is small the values near each other in time are rounded the same way: of so many that
// share what rounding does on average to one place, Σ exp(−4π²k²σ²)/(2π²k²) over k from 1 (the first harmonics of a saw
// tooth seen through the noise), all but one count for nothing.
func variance(noise, sharing float64) float64 {
	shared := 0.0
	for k := 1.0; k < 50; k++ {
		shared += math.Exp(-square(2*math.Pi*k*noise)) / (2 * square(math.Pi*k))
	}
	return square(noise) + 1.0/12 + shared*max(0, sharing-1)
}

// step lets one simulator.Step pass.
func (s *smoother) step() {
	s.pour.step()
	s.lip.step()
}

// take follows a displayed value in grams.
func (s *smoother) take(now time.Duration, shown float64) {
	if s.n == 0 {
		s.first = shown
	}
	x, y := [2]float64{s.pour.filter, s.lip.filter}, shown-s.first
	s.n, s.y = s.n+1, s.y+y
	for i := range x {
		s.x[i], s.xy[i] = s.x[i]+x[i], s.xy[i]+x[i]*y
		for j := range x {
			s.xx[i][j] += x[i] * x[j]
		}
	}
	if s.most([2]float64{s.pour.coming(), s.lip.coming()}) > s.bearable {
		return
	}
	if s.ended == 0 {
		s.ended = now
	}
	if s.stood == 0 && s.most(x) <= s.bearable {
		s.stood = now
	}
}

// most is what q·r₁ + f·r₂ does not exceed with a probability of 0.99, in g.
func (s *smoother) most(r [2]float64) float64 {
	mean, cov := s.posterior()
	sum, variance := 0.0, 0.0
	for i := range r {
		sum += r[i] * mean[i]
		for j := range r {
			variance += r[i] * cov[i][j] * r[j]
		}
	}
	return sum + sureness*math.Sqrt(variance)
}

// posterior mean and covariance of q and f. That nothing is known of M takes the means out of the sums.
func (s *smoother) posterior() (mean [2]float64, cov [2][2]float64) {
	var w [2][2]float64 // inverse of the covariance
	var v [2]float64
	for i := range w {
		for j := range w {
			w[i][j] = (s.xx[i][j] - s.x[i]*s.x[j]/s.n) / s.noise
		}
		w[i][i] += 1 / square(s.sd[i])
		v[i] = s.mean[i]/square(s.sd[i]) - (s.xy[i]-s.x[i]*s.y/s.n)/s.noise
	}
	det := w[0][0]*w[1][1] - w[0][1]*w[1][0]
	cov = [2][2]float64{{w[1][1] / det, -w[0][1] / det}, {-w[1][0] / det, w[0][0] / det}}
	for i := range mean {
		mean[i] = cov[i][0]*v[0] + cov[i][1]*v[1]
	}
	return mean, cov
}

// runOff is how a flow ends once the vessel is righted, as the simulator has it but for drops: the mouth's flow dies away
// with the vessel's ramp; its share along the lip falls with the tail's time constant; what has left the lip falls for
// simulator.FallTime and strikes with its flow times that; the scale's two poles follow.
type runOff struct {
	mouth, film  float64   // g/s; g on the lip
	air          []float64 // g that left the lip in each of the newest steps, as a ring
	at           int       // the oldest of them
	cell, filter float64   // g that they lack of the end

	share, ramp                              float64 // of the mouth's flow that goes along the lip; s
	mouthFalls, drains, cellGoes, filterGoes float64 // share of its way that each goes in a step
}

// newRunOffs are of 1 g/s out of the mouth that finds the lip dry, and of 1 g on the lip alone, each as it leaves scale and
// air if it had been so for long.
func newRunOffs(c Cell) (pour, lip runOff) {
	liquid, cell, filter := c.liquid(), simulator.CellShare*c.Scale.Lag, (1-simulator.CellShare)*c.Scale.Lag
	goes := func(tau float64) float64 { return -math.Expm1(-simulator.Step.Seconds() / tau) }
	r := runOff{
		share: liquid.LipShare(), ramp: liquid.Ramp.Seconds(),
		mouthFalls: goes(liquid.Ramp.Seconds()), drains: goes(liquid.TailFor.Seconds()), cellGoes: goes(cell), filterGoes: goes(filter),
	}
	steady := func(mouth, film float64) runOff {
		r := r
		r.mouth, r.film = mouth, film
		flow := mouth*(1-r.share) + film/liquid.TailFor.Seconds()
		r.air = make([]float64, simulator.FallTime/simulator.Step)
		for i := range r.air {
			r.air[i] = flow * simulator.Step.Seconds()
		}
		// A pole is behind a steady flow by its lag.
		r.cell = mouth*r.ramp + film + flow*cell
		r.filter = r.cell + flow*filter
		return r
	}
	return steady(1, 0), steady(0, 1)
}

// step lets one simulator.Step pass.
func (r *runOff) step() {
	r.mouth -= r.mouth * r.mouthFalls
	out, drained := r.mouth*simulator.Step.Seconds(), r.film*r.drains
	r.film += out*r.share - drained
	arriving := r.air[r.at]
	r.air[r.at] = out*(1-r.share) + drained
	r.at = (r.at + 1) % len(r.air)
	r.cell += (r.coming() - arriving*float64(len(r.air)) - r.cell) * r.cellGoes
	r.filter += (r.cell - r.filter) * r.filterGoes
}

// coming is what is still to land, in g.
func (r *runOff) coming() float64 {
	sum := r.mouth*r.ramp + r.film
	for _, m := range r.air {
		sum += m
	}
	return sum
}
