package pour

import (
	"math"
	"time"

	"twocup/scaledrv/reading"
)

// Estimate is what is on the pan now and what is still flowing, from the displayed values and the scale's lag.
type Estimate struct {
	Ahead  float64 // g by which the load is ahead of the value that the pan shows
	SD     float64 // its standard deviation
	Flow   float64 // g/s
	FlowSD float64
}

// First choices of the filter; ours, held against the simulator's truth.
const (
	flicker   = 0.42                   // d: the standard deviation of a value that is noisy by 0.3 d and rounded, √(0.3² + 1/12)
	firstLag  = 300 * time.Millisecond // of a scale that has not shown its own
	unsteady  = 0.04                   // of the flow per √s: below a hand's wander, 7.5 % that forgets in 1 s, because that comes back
	unasked   = 0.5                    // d/s per √s at any flow
	answering = 0.6                    // of the flow per √s while a hand answers a cue
	astray    = 4.0                    // standard deviations that make a value an outlier
	persists  = 200 * time.Millisecond // for which outliers on one side last until they are believed
)

// estimator is a Kalman filter over three figures: what the scale's filter shows, y' = (m − y)/lag, what is on the pan,
// m' = q, and the flow q, a random walk. An outlier is not believed until it persists; then mass and flow are free to go
// where it points. What falls through the air counts as on the pan: the force of its arrival is its own weight.
type estimator struct {
	y, m, q                float64 // g, g, g/s
	yy, ym, yq, mm, mq, qq float64 // covariances
	lag                    time.Duration
	busy                   time.Time // until then a change of flow is expected
	stray                  time.Time // first of the outliers at hand
	above                  bool      // they lie above
	running                bool
}

// reset forgets all but the scale's lag.
func (k *estimator) reset() { *k = estimator{lag: k.lag} }

// take follows a displayed value after the time since the one before; d is the division, both in grams.
func (k *estimator) take(at time.Time, since time.Duration, shown, d float64) {
	noise := flicker * flicker * d * d
	if !k.running {
		*k = estimator{y: shown, m: shown, yy: noise, mm: noise, ym: noise, qq: d * d, lag: k.lag, running: true}
		return
	}
	k.predict(since.Seconds(), k.restlessness(at, d))
	off, spread := shown-k.y, k.yy+noise
	if off*off > astray*astray*spread {
		if k.stray.IsZero() || k.above != (off > 0) {
			k.stray, k.above = at, off > 0
		}
		if k.above != (off > 0) || at.Sub(k.stray) < persists {
			return
		}
		k.free(off, at.Sub(k.stray))
		spread = k.yy + noise
	}
	k.stray = time.Time{}
	k.update(off, spread)
}

// restlessness is how far the flow may change, in g/s per √s.
func (k *estimator) restlessness(at time.Time, d float64) float64 {
	share := unsteady
	if at.Before(k.busy) {
		share = answering
	}
	return math.Hypot(share*k.q, unasked*d)
}

// free lets mass and flow go where the outliers of so long point: first of all the flow, because what changes by itself
// in a pour is that.
func (k *estimator) free(off float64, lasted time.Duration) {
	rate := off / (lasted + k.scaleLag()).Seconds()
	k.qq += rate * rate
	k.mm += off * off
	k.yy += off * off
}

// predict lets dt seconds pass.
func (k *estimator) predict(dt, restless float64) {
	k.qq += restless * restless * dt
	tau := k.scaleLag().Seconds()
	a := math.Exp(-dt / tau)
	b, c := 1-a, dt-tau*(1-a) // y goes to a·y + b·m + c·q, m to m + dt·q
	k.y, k.m = a*k.y+b*k.m+c*k.q, k.m+dt*k.q

	yq := a*k.yq + b*k.mq + c*k.qq
	mq := k.mq + dt*k.qq
	ym := a*(k.ym+dt*k.yq) + b*(k.mm+dt*k.mq) + c*mq
	k.yy = a*(a*k.yy+b*k.ym+c*k.yq) + b*(a*k.ym+b*k.mm+c*k.mq) + c*yq
	k.mm += dt * (k.mq + mq)
	k.ym, k.yq, k.mq = ym, yq, mq
}

// update takes in by how much the value was off what was expected, and the variance of that.
func (k *estimator) update(off, spread float64) {
	gy, gm, gq := k.yy/spread, k.ym/spread, k.yq/spread
	k.y, k.m, k.q = k.y+gy*off, k.m+gm*off, k.q+gq*off
	k.mm -= gm * k.ym
	k.mq -= gm * k.yq
	k.qq -= gq * k.yq
	k.ym -= gy * k.ym
	k.yq -= gy * k.yq
	k.yy -= gy * k.yy
}

func (k *estimator) scaleLag() time.Duration {
	if k.lag == 0 {
		return firstLag
	}
	return k.lag
}

// approach measures the scale's lag where a load has come at once: after that the display goes to the load as
// 1 − exp(−t/lag), so the area between value and load, from any time on, is lag times what was missing then.
type approach struct {
	from    time.Time // when the value last doubled: then about half of it was missing
	at      time.Time
	first   float64 // g above the empty pan, then
	newest  float64
	area    float64 // under the values since then, g·s
	longest float64 // s between two values since then
}

// leastApproach is the number of divisions that must have been missing to tell a lag from them.
const leastApproach = 10

func (a *approach) take(at time.Time, load float64) {
	if a.from.IsZero() || load > 2*a.first {
		*a = approach{from: at, at: at, first: load, newest: load}
		return
	}
	dt := at.Sub(a.at).Seconds()
	a.area += dt * (a.newest + load) / 2
	a.longest = max(a.longest, dt)
	a.at, a.newest = at, load
}

// lag is what the approach to a load, now at rest, shows; false where it shows none.
func (a *approach) lag(load, d float64) (time.Duration, bool) {
	missing := load - a.first
	if missing < leastApproach*d || a.longest <= 0 {
		return 0, false
	}
	tau := (load*a.at.Sub(a.from).Seconds() - a.area) / missing
	// The chords lie under the curve: the area that they see is h/2·coth(h/2τ), not τ.
	h := a.longest / 2
	if tau <= 1.02*h {
		tau = h / 2
	} else {
		tau = h / math.Atanh(h/tau)
	}
	return time.Duration(max(0.02, min(tau, 2)) * float64(time.Second)), true
}

// Estimate is the pan's own.
func (p *Pan) Estimate() Estimate {
	if !p.estimate.running {
		return Estimate{SD: flicker * p.Division.Grams()}
	}
	return Estimate{
		Ahead: p.estimate.m - p.Value().Grams(), SD: math.Sqrt(max(0, p.estimate.mm)),
		Flow: p.estimate.q, FlowSD: math.Sqrt(max(0, p.estimate.qq)),
	}
}

// Expect says that a hand has been asked for another flow, and will answer within this time.
func (p *Pan) Expect(within time.Duration) { p.estimate.busy = p.Now.At.Add(within) }

// Lag is the scale's, as the cup's arrival showed it; false where no arrival has.
func (p *Pan) Lag() (time.Duration, bool) { return p.estimate.scaleLag(), p.estimate.lag != 0 }

// watch keeps the estimate. What was seen before an interruption does not speak for it.
func (p *Pan) watch(r reading.Reading, continued bool) {
	if !continued {
		p.estimate.reset()
	}
	p.estimate.take(r.At, r.At.Sub(p.Before.At), r.Mass.Grams(), p.Division.Grams())
}
