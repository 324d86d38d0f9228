package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

// leastPut is the smallest load that is told from a stream by how fast it came: a stick weighs 3 to 10 g (common
// practice, no source). Of fewer than five divisions no shape can be told.
func (p *Pan) leastPut() reading.Mass { return max(3*reading.Gram, 5*p.Division) }

// soon is the time in which three quarters of a load that is put on show: 1.4 times the scale's lag, and a line or two.
func (p *Pan) soon() time.Duration {
	lag, _ := p.Lag()
	return max(400*time.Millisecond, lag*3/2+200*time.Millisecond)
}

// putIn says whether the load that has come to rest at a value came too fast for a stream. A little that comes to rest at
// zero may be a key, too.
func (p *Pan) putIn(value reading.Mass) bool {
	rise := value - p.Rested.Mass
	enough := rise >= p.leastPut() || rise > slack*p.Division && value.Abs() <= p.Division
	if p.place != loaded || !enough || p.quick-p.Rested.Mass < rise*3/4 {
		return false
	}
	p.PutFrom, p.PutTo = p.Rested.Mass, value
	p.puts += rise
	return true
}

// Abrupt says whether what is coming just now has come so fast that it may be put in, and not poured.
func (p *Pan) Abrupt() bool {
	rise := p.quick - p.Rested.Mass
	return p.place == loaded && rise >= p.leastPut() && p.Now.Mass-p.Rested.Mass < rise*4/3
}
