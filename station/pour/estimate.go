package pour

import (
	"math"
	"time"

	"twocup/scaledrv/reading"
)

// Estimate is what has left the vessel and what still flows, from the displayed values, the scale's lag and what runs off
// the vessel's lip.
type Estimate struct {
	Ahead  float64 // g by which what has left the vessel's body, though it be still on the lip, is ahead of what the pan shows
	SD     float64 // its standard deviation
	Flow   float64 // g/s out of the vessel's body
	FlowSD float64
	Cov    float64 // covariance of Ahead and Flow, g²/s
}

// sdAfter is the standard deviation of what will have left when the flow has gone on for so many seconds, in g.
func (e Estimate) sdAfter(seconds float64) float64 {
	return math.Sqrt(max(0, e.SD*e.SD+seconds*(2*e.Cov+seconds*e.FlowSD*e.FlowSD)))
}

// First choices of the filter; ours, held against the simulator's truth.
const (
	flicker   = 0.42                   // d: the standard deviation of a value that is noisy by 0.3 d and rounded, √(0.3² + 1/12)
	noisy     = 0.25                   // d: of one before it is rounded
	grain     = 0.005                  // g: of one by the drops that a stream ends in, however fine the display
	firstLag  = 300 * time.Millisecond // of a scale that has not shown its own
	unsteady  = 0.08                   // of the flow per √s; a little less than a hand's wander of 7.5 % makes in a second, because that comes back
	unasked   = 0.1                    // d/s per √s at any flow
	answering = 0.6                    // of the flow, or of the change that was asked for, per √s while a hand answers a cue
	steadily  = 0.15                   // of the flow is the standard deviation with which it must be known to tell the lip's from it
	differs   = 0.03                   // of themselves: by so much tail and lip differ from pour to pour
	mostLip   = 0.5                    // the largest share of a flow that takes the slow way along the lip
	shortest  = 0.1                    // s: a tail below it is none
	astray    = 4.0                    // standard deviations that make a value an outlier
	persists  = 200 * time.Millisecond // for which outliers on one side last until they are believed
)

// The figures of the estimator's state.
const (
	iShown  = iota // g, by the scale's filter
	iLeft          // g that have left the vessel's body
	iFlow          // g/s out of it
	iSoaked        // g/s: the flow that the lip has had, as far as it has not run off
	iLip           // s: what a steady flow keeps on the lip, divided by it
	iTail          // s: time constant of what runs off the lip
	states
)

// estimator is an extended Kalman filter. With y shown, m left, q flow, u soaked:
//
//	y' = (m − lip·u − y)/lag,  m' = q,  q' = 0 but for a random walk,  u' = (q − u)/tail
//
// A displayed value is a rounded one: it says between which two the scale's own lies. An outlier is not believed until it
// persists; then mass and flow are free to go where it points. What falls through the air counts as on the pan: the force
// of its arrival is its own weight.
//
// Of the vessel the lip is learned on the way, where the flow is known well enough; the tail, which that can't tell from a
// hand that changes its mind, is only considered: its doubt counts, its value stays (Schmidt's consider filter).
type estimator struct {
	x       [states]float64
	p       matrix // covariance
	lag     time.Duration
	asked   asked
	stray   time.Time // first of the outliers at hand
	above   bool      // they lie above
	running bool
	learned bool // the vessel at hand has shown something of its lip
}

// asked is a change of flow that a hand has been asked for, and will have answered by an instant.
type asked struct {
	by    time.Time
	to    float64 // g/s
	lag   float64 // s that it takes on average
	heeds bool    // this hand has been seen to come to a flow that it was asked for
}

// reset forgets all but scale and vessel.
func (k *estimator) reset() {
	fresh := estimator{lag: k.lag, learned: k.learned}
	for i := iSoaked; i < states; i++ {
		fresh.x[i], fresh.p[i][i] = k.x[i], k.p[i][i]
	}
	*k = fresh
}

// film is what is on the lip, in g.
func (k *estimator) film() float64 { return k.x[iLip] * k.x[iSoaked] }

// drain has the lip run off for so long with nothing seen.
func (k *estimator) drain(unseen time.Duration) {
	k.x[iSoaked] *= math.Exp(-max(0, unseen.Seconds()) / max(shortest, k.x[iTail]))
}

// dry has nothing on the lip.
func (k *estimator) dry() {
	k.x[iLeft] -= k.film()
	k.x[iSoaked] = 0
	for i := range states {
		k.p[i][iSoaked], k.p[iSoaked][i] = 0, 0
	}
}

// take follows a displayed value after the time since the one before; d is the division, both in grams.
func (k *estimator) take(at time.Time, since time.Duration, value, d float64) {
	noise := flicker * flicker * d * d
	if !k.running {
		k.running = true
		k.x[iShown], k.x[iLeft] = value, value+k.film()
		k.p[iShown][iShown], k.p[iShown][iLeft], k.p[iLeft][iShown], k.p[iLeft][iLeft] = noise, noise, noise, noise
		k.p[iFlow][iFlow] = d * d
		return
	}
	if at.Before(k.asked.by) && k.asked.heeds {
		k.heed(since.Seconds())
	}
	k.predict(since.Seconds(), k.restlessness(at, d))
	off, spread := value-k.x[iShown], k.p[iShown][iShown]+noise
	if off*off > astray*astray*spread {
		if k.stray.IsZero() || k.above != (off > 0) {
			k.stray, k.above = at, off > 0
		}
		if k.above != (off > 0) || at.Sub(k.stray) < persists {
			return
		}
		k.free(off, at.Sub(k.stray))
	}
	k.stray = time.Time{}
	spread = k.p[iShown][iShown] + square(noisy*d) + square(grain)
	mean, variance, share := rounded(off, d, spread)
	k.update(iShown, mean, variance, share, k.learns(at))
	k.x[iFlow] = max(-d, k.x[iFlow]) // nothing goes back, but at rest the estimate must be free to be right on average
}

// heed lets a flow go for dt seconds to where it was asked to go.
func (k *estimator) heed(dt float64) {
	stays := math.Exp(-dt / k.asked.lag)
	k.x[iFlow] = k.asked.to + (k.x[iFlow]-k.asked.to)*stays
	for i := range states {
		k.p[i][iFlow] *= stays
		k.p[iFlow][i] *= stays
	}
}

// rounded is what a displayed value tells that is off by so much from what was expected with a variance spread: by how much
// the value was off before it was rounded, with which variance that was expected, and which share of this goes away. The
// value before is normal, cut off where the display would show another. (Mean and variance of a truncated normal: Johnson,
// Kotz, Balakrishnan, Continuous Univariate Distributions 1, 13.10.1, from memory.)
func rounded(off, d, spread float64) (mean, variance, share float64) {
	sd := math.Sqrt(spread)
	low, high := (off-d/2)/sd, (off+d/2)/sd
	within := normalBetween(low, high)
	if within < 1e-9 { // nowhere near
		return off, spread + d*d/12, 1
	}
	atLow, atHigh := density(low), density(high)
	shift := (atLow - atHigh) / within
	share = shift*shift - (low*atLow-high*atHigh)/within
	return sd * shift, spread, max(0, min(share, 1))
}

// normalBetween is the probability that a standard normal lies between two figures.
func normalBetween(low, high float64) float64 {
	if high < 0 { // a difference of two that are all but 2 would lose its digits
		low, high = -high, -low
	}
	return (math.Erfc(low/math.Sqrt2) - math.Erfc(high/math.Sqrt2)) / 2
}

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

func square(x float64) float64 { return x * x }

// restlessness is how far the flow may change, in g/s per √s.
func (k *estimator) restlessness(at time.Time, d float64) float64 {
	own := math.Hypot(unsteady*k.x[iFlow], unasked*d)
	switch {
	case !at.Before(k.asked.by):
		return own
	case k.asked.heeds:
		return math.Hypot(own, answering*(k.x[iFlow]-k.asked.to))
	}
	return math.Hypot(answering*k.x[iFlow], unasked*d)
}

// free lets mass and flow go where the outliers of so long point: first of all the flow, because what changes by itself
// in a pour is that.
func (k *estimator) free(off float64, lasted time.Duration) {
	rate := off / (lasted + k.scaleLag()).Seconds()
	k.p[iFlow][iFlow] += rate * rate
	k.p[iLeft][iLeft] += off * off
	k.p[iShown][iShown] += off * off
}

// predict lets dt seconds pass.
func (k *estimator) predict(dt, restless float64) {
	k.p[iFlow][iFlow] += restless * restless * dt
	d := k.decays(dt)
	f := k.transition(d, dt)
	k.step(d, dt)
	k.p = times(times(f, k.p), transposed(f))
}

// decays are shares that are left after dt seconds, and what follows from them.
type decays struct {
	lag, tail     float64 // s
	shown, soaked float64 // of what the display lacks; of what the lip has too much
	both          float64 // of what the lip has too much, as the display shows it
	bend          float64 // of both with the tail, 1/s
}

func (k *estimator) decays(dt float64) decays {
	d := decays{lag: k.scaleLag().Seconds(), tail: max(shortest, k.x[iTail])}
	if math.Abs(d.tail-d.lag) < 1e-3*d.lag {
		d.tail = 1.001 * d.lag // two equal time constants are the limit of different ones
	}
	d.shown, d.soaked = math.Exp(-dt/d.lag), math.Exp(-dt/d.tail)
	d.both = (d.soaked - d.shown) * d.tail / (d.tail - d.lag)
	d.bend = (d.soaked*dt/d.tail - (d.soaked-d.shown)*d.lag/(d.tail-d.lag)) / (d.tail - d.lag)
	return d
}

// step takes the state dt seconds on.
func (k *estimator) step(d decays, dt float64) {
	q, u := k.x[iFlow], k.x[iSoaked]
	k.x[iShown] += (k.x[iLeft]-k.x[iShown])*(1-d.shown) + q*(dt-d.lag*(1-d.shown)) - k.x[iLip]*(q*(1-d.shown)+(u-q)*d.both)
	k.x[iLeft] += q * dt
	k.x[iSoaked] += (q - u) * (1 - d.soaked)
}

// transition is the matrix of step's partial derivatives.
func (k *estimator) transition(d decays, dt float64) (f matrix) {
	q, u, lip := k.x[iFlow], k.x[iSoaked], k.x[iLip]
	for i := range states {
		f[i][i] = 1
	}
	f[iShown] = [states]float64{
		iShown: d.shown, iLeft: 1 - d.shown, iFlow: dt - d.lag*(1-d.shown) - lip*(1-d.shown-d.both),
		iSoaked: -lip * d.both, iLip: -q*(1-d.shown) - (u-q)*d.both, iTail: -lip * (u - q) * d.bend,
	}
	f[iLeft][iFlow] = dt
	f[iSoaked] = [states]float64{iFlow: 1 - d.soaked, iSoaked: d.soaked, iTail: (u - q) * d.soaked * dt / (d.tail * d.tail)}
	return f
}

type matrix = [states][states]float64

func times(a, b matrix) (c matrix) {
	for i := range states {
		for n, f := range a[i] {
			if f == 0 {
				continue
			}
			for j := range states {
				c[i][j] += f * b[n][j]
			}
		}
	}
	return c
}

func transposed(a matrix) (t matrix) {
	for i := range states {
		for j := range states {
			t[j][i] = a[i][j]
		}
	}
	return t
}

// update takes in by how much one figure was off what was expected with a variance, and the share of that which goes away.
// learns says whether it tells anything of the lip.
func (k *estimator) update(of int, off, variance, share float64, learns bool) {
	var gain, column [states]float64
	for i := range states {
		column[i] = k.p[i][of]
		gain[i] = column[i] / variance
	}
	kept := iLip // the first figure that stays
	if learns {
		kept, k.learned = iTail, true
	}
	for i := range kept {
		k.x[i] += gain[i] * off
	}
	for i := range states {
		for j := range states {
			if i < kept || j < kept {
				k.p[i][j] -= share * gain[i] * column[j]
			}
		}
	}
	k.x[iSoaked] = max(0, k.x[iSoaked])
	k.x[iLip] = max(0, min(k.x[iLip], mostLip*k.x[iTail]))
}

// learns says whether the flow out of the body is known well enough to tell what comes from the lip: once a hand has
// answered a cue, and to a small part of that flow or, where the lip still has more from a faster one, of that.
func (k *estimator) learns(at time.Time) bool {
	answered := !k.asked.by.IsZero() && !at.Before(k.asked.by)
	return answered && k.p[iFlow][iFlow] < square(steadily*max(k.x[iFlow], k.x[iSoaked]))
}

func (k *estimator) scaleLag() time.Duration {
	if k.lag == 0 {
		return firstLag
	}
	return k.lag
}

// Estimate is the pan's own.
func (p *Pan) Estimate() Estimate {
	k := &p.estimate
	if !k.running {
		return Estimate{SD: flicker * p.Division.Grams()}
	}
	return Estimate{
		Ahead: k.x[iLeft] - p.Value().Grams(), Flow: k.x[iFlow],
		SD: math.Sqrt(max(0, k.p[iLeft][iLeft])), FlowSD: math.Sqrt(max(0, k.p[iFlow][iFlow])), Cov: k.p[iLeft][iFlow],
	}
}

// pourFrom says that what comes is poured from a vessel at whose lip nothing is yet, by a hand with these habits.
func (p *Pan) pourFrom(h Habit) {
	k := &p.estimate
	k.dry()
	for _, i := range []int{iLip, iTail} {
		for j := range states {
			k.p[i][j], k.p[j][i] = 0, 0
		}
	}
	k.x[iLip], k.x[iTail] = h.Lip.Seconds, h.Tail.Seconds
	k.p[iLip][iLip] = square(h.Lip.SD) + square(differs*h.Lip.Seconds)
	k.p[iTail][iTail] = square(h.Tail.SD) + square(differs*h.Tail.Seconds)
	k.asked, k.learned = asked{}, false
}

// lip is what the vessel at hand has shown to keep on it, if it has.
func (p *Pan) lip() (l Lag, shown bool) {
	k := &p.estimate
	return Lag{Seconds: k.x[iLip], SD: math.Sqrt(max(0, k.p[iLip][iLip])), Times: 1}, k.learned
}

// toCome is what the value will still rise by if the hand holds the vessel upright in so many seconds, and its standard
// deviation, in g.
func (p *Pan) toCome(within float64) (mean, sd float64) {
	k := &p.estimate
	by := [states]float64{iShown: -1, iLeft: 1, iFlow: within}
	variance := 0.0
	for i := range by {
		mean += by[i] * k.x[i]
		for j := range by {
			variance += by[i] * k.p[i][j] * by[j]
		}
	}
	return mean, math.Sqrt(max(0, variance))
}

// righted says that nothing leaves the vessel's body any more, give or take sd in g/s.
func (p *Pan) righted(sd float64) {
	k := &p.estimate
	k.update(iFlow, -k.x[iFlow], k.p[iFlow][iFlow]+sd*sd, 1, false)
}

// Lag is the scale's, as the cup's arrival showed it; false where no arrival has.
func (p *Pan) Lag() (time.Duration, bool) { return p.estimate.scaleLag(), p.estimate.lag != 0 }

// watch keeps the estimate. What was seen before an interruption does not speak for it.
func (p *Pan) watch(r reading.Reading, continued bool) {
	if !continued {
		p.estimate.reset()
		p.estimate.drain(r.At.Sub(p.Before.At))
	}
	p.estimate.take(r.At, r.At.Sub(p.Before.At), r.Mass.Grams(), p.Division.Grams())
}
