package simulator

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"
)

// DamageOptions says how often what happens to the bytes on a line. The zero value is a whole line. All rates are of the
// bytes sent, Merge's of the line ends; together they are at most 1. At most one of them befalls a byte.
type DamageOptions struct {
	Seed      uint64
	Flip      float64       // one of the byte's bits is turned
	Drop      float64       // the byte is lost
	Duplicate float64       // the byte comes twice
	Cut       float64       // the byte and all behind it are lost, up to the line's end and with it
	Burst     float64       // 1 to 16 NUL or 0xFF come before the byte
	Delay     float64       // the byte and all behind it are held up for DelayFor
	DelayFor  time.Duration // 0 means 300 ms
	Merge     float64       // the line's end is lost: two lines run together
}

// DamageCount is how many bytes it has happened to.
type DamageCount struct {
	Sent                                                int // by the scale
	Flipped, Dropped, Duplicated, Cut, Inserted, Merged int
	Delayed                                             int // came late, as they were
}

// Damaged is all bytes that came other than they were sent, did not come, or were never sent.
func (c DamageCount) Damaged() int {
	return c.Flipped + c.Dropped + c.Duplicated + c.Cut + c.Inserted + c.Merged
}

// Damage is a line that does harm. The same seed and bytes give the same harm, in whatever chunks they come; delays go by
// the time that Pass is given.
type Damage struct {
	opt     DamageOptions
	none    bool
	random  *rand.Rand
	losing  *int // what is being lost up to the end of the line is counted here; nil: nothing is
	atEnd   bool // the byte before was of a line's end
	held    []byte
	release time.Duration // when the held bytes go on
	count   DamageCount
}

// NewDamage refuses rates that cannot be.
func NewDamage(opt DamageOptions) (*Damage, error) {
	sum := 0.0
	for _, rate := range []float64{opt.Flip, opt.Drop, opt.Duplicate, opt.Cut, opt.Burst, opt.Delay, opt.Merge} {
		if !(rate >= 0) {
			return nil, fmt.Errorf("damage with a rate of %v: give 0 to 1", rate)
		}
		sum += rate
	}
	if sum > 1 {
		return nil, fmt.Errorf("damage with rates of %v together: give at most 1", sum)
	}
	if opt.DelayFor < 0 {
		return nil, errors.New("damage with a negative delay: give a positive one")
	}
	orDefault(&opt.DelayFor, 300*time.Millisecond)
	return &Damage{opt: opt, none: sum == 0, random: rand.New(rand.NewPCG(opt.Seed, 'D'))}, nil
}

// Count says what has been done so far.
func (d *Damage) Count() DamageCount { return d.count }

// Pass appends to out what arrives by now, given what is sent now; now never goes back.
func (d *Damage) Pass(now time.Duration, sent, out []byte) []byte {
	d.count.Sent += len(sent)
	if d.none {
		return append(out, sent...)
	}
	if len(d.held) > 0 && now >= d.release {
		out = append(out, d.held...)
		d.held = d.held[:0]
	}
	for _, c := range sent {
		var room [17]byte
		arriving := d.harm(now, c, room[:0])
		if now < d.release {
			d.held = append(d.held, arriving...)
			d.count.Delayed += len(arriving)
		} else {
			out = append(out, arriving...)
		}
	}
	return out
}

// harm appends what becomes of one byte.
func (d *Damage) harm(now time.Duration, c byte, b []byte) []byte {
	isEnd := c == '\r' || c == '\n'
	newLine, newEnd := d.atEnd && !isEnd, isEnd && !d.atEnd
	d.atEnd = isEnd
	if newLine {
		d.losing = nil
	}
	if d.losing != nil {
		*d.losing++
		return b
	}
	chance := d.random.Float64()
	befalls := func(rate float64) bool { // one after the other, each has its share of the chance
		chance -= rate
		return chance < 0
	}
	switch {
	case befalls(d.opt.Flip):
		d.count.Flipped++
		return append(b, c^1<<d.random.IntN(8))
	case befalls(d.opt.Drop):
		d.count.Dropped++
		return b
	case befalls(d.opt.Duplicate):
		d.count.Duplicated++
		return append(b, c, c)
	case befalls(d.opt.Cut):
		d.losing = &d.count.Cut
	case befalls(d.opt.Burst):
		return append(d.burst(b), c)
	case befalls(d.opt.Delay):
		d.release = max(d.release, now+d.opt.DelayFor)
	case newEnd && befalls(d.opt.Merge):
		d.losing = &d.count.Merged
	}
	if d.losing != nil {
		*d.losing++
		return b
	}
	return append(b, c)
}

// burst appends what a line picks up as something is switched on beside it.
func (d *Damage) burst(b []byte) []byte {
	noise := byte(0)
	if d.random.IntN(2) == 1 {
		noise = 0xFF
	}
	n := 1 + d.random.IntN(16)
	d.count.Inserted += n
	return padding(b, noise, n)
}
