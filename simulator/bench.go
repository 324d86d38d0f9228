package simulator

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"twocup/scaledrv/reading"
)

// Step is the time in which the physics advances.
const Step = 5 * time.Millisecond

// Options is a whole bench. The zero value works: two thin liquids, a scale of 6 kg by 0.1 g, and a hand that waits
// for Do("auto", 0).
type Options struct {
	Seed   uint64
	Scale  ScaleOptions
	Damage DamageOptions // to the bytes on their way from the scale
	Hand   HandOptions
	A, B   Liquid              // the zero Liquid means Thin
	Cup    reading.Mass        // of an empty cup, with a spread of 2 %; 0 means 20 g
	Auto   bool                // the hand pours every batch, not only those it is asked to
	Answer func(choice string) // gets the hand's answers; called by Advance with nothing locked, to return at once; nil: they are lost
}

// Bench is scale, cup, jugs and hand. Its methods may be called from several goroutines: a mutex guards the physics, held
// for microseconds, because buttons, cues and truth must be served whether or not something advances the bench.
type Bench struct {
	opt     Options
	lineEnd []byte // its last byte
	running atomic.Bool

	mu       sync.Mutex
	now      time.Duration // simulated, since the start
	owed     time.Duration // given to Advance and shorter than a Step
	nextLine time.Duration
	out      []byte
	sent     []byte // in the Step at hand
	format   *lineFormat
	scale    *scale
	wire     wire
	damage   *Damage
	shown    display // the newest; it is fresh until the scale is switched off
	fresh    bool
	frozen   bool
	inbox    inbox
	asked    int // requests not yet answered
	jugs     [partNone]jug
	stream   stream
	cup      cup
	cups     *rand.Rand
	lost     masses // fell beside the cup, or went with a cup that is no longer used
	hand     hand
	auto     bool
	answer   string // to be handed out when nothing is locked
}

// New sets up a bench: an empty pan, both jugs upright, no cue. The error says which option cannot be.
func New(opt Options) (*Bench, error) {
	var err error
	if opt.Scale, err = opt.Scale.withDefaults(); err != nil {
		return nil, fmt.Errorf("set up the simulated scale: %w", err)
	}
	face, format, err := firstFace(opt.Scale)
	if err != nil {
		return nil, fmt.Errorf("set up the simulated scale: %w", err)
	}
	uart, err := NewUART(opt.Scale.Baud, opt.Scale.Frame)
	if err != nil {
		return nil, fmt.Errorf("set up the simulated scale: %w", err)
	}
	damage, err := NewDamage(opt.Damage)
	if err == nil && !damage.none && opt.Scale.Shape == "hid" {
		err = errors.New("damage to HID reports: USB sends again what is damaged (use another shape)")
	}
	if err != nil {
		return nil, fmt.Errorf("set up the simulated line: %w", err)
	}
	if opt.Hand, err = opt.Hand.withDefaults(); err != nil {
		return nil, fmt.Errorf("set up the simulated hand: %w", err)
	}
	orDefault(&opt.Cup, 20*reading.Gram)
	if opt.Cup < 0 {
		return nil, fmt.Errorf("set up the simulated cup: a mass of %v cannot be (give a positive one)", opt.Cup)
	}
	for _, l := range []*Liquid{&opt.A, &opt.B} {
		orDefault(l, Thin)
		if err := l.check(); err != nil {
			return nil, fmt.Errorf("fill the simulated jugs: %w", err)
		}
	}
	b := &Bench{
		opt:     opt,
		lineEnd: []byte(format.End[len(format.End)-1:]),
		format:  format,
		scale:   newScale(opt.Scale, face, opt.Seed),
		wire:    newWire(uart),
		damage:  damage,
		inbox:   newInbox(opt.Scale),
		jugs:    [partNone]jug{newJug(opt.A), newJug(opt.B), newJug(Thin)},
		cups:    rand.New(rand.NewPCG(opt.Seed, 'C')),
		hand:    newHand(opt.Hand, opt.Seed),
		auto:    opt.Auto,
	}
	b.nextLine = b.scale.period
	return b, nil
}

// firstFace is the face that the scale is switched on with. Its division must be the one asked for.
func firstFace(opt ScaleOptions) (face, *lineFormat, error) {
	f, exact, err := newFace(opt.Unit, opt.Division)
	if err != nil {
		return f, nil, err
	}
	if !exact {
		return f, nil, fmt.Errorf("division %v: no decimal of %d places in %v gives it (give one that is such a number)", opt.Division, mostDecimals, f.unit)
	}
	format, err := newLineFormat(opt, f)
	return f, format, err
}

// Advance lets dt pass, in whole Steps; what is left of dt is added to the next. It returns the bytes that left the scale
// in that time, good until the next call, which one goroutine alone may make.
func (b *Bench) Advance(dt time.Duration) []byte {
	b.mu.Lock()
	b.out = b.out[:0]
	var answers []string
	for b.owed += dt; b.owed >= Step; b.owed -= Step {
		b.step()
		if b.answer != "" {
			answers = append(answers, b.answer)
			b.answer = ""
		}
	}
	b.mu.Unlock()
	for _, choice := range answers {
		if b.opt.Answer != nil {
			b.opt.Answer(choice)
		}
	}
	return b.out
}

// step is one Step of everything, in the order in which one acts upon the next.
func (b *Bench) step() {
	b.now += Step
	if b.hand.notice(b.now) && b.hand.sight.Cue == "" { // the batch is gone without a done
		b.auto = b.opt.Auto
	}
	if b.auto {
		b.hand.act(b)
	}
	arriving := b.stream.step(masses{b.jugs[partA].step(), b.jugs[partB].step(), b.jugs[partOther].step()})
	load := b.cup.load(b.now)
	if b.cup.on {
		b.cup.contents.add(arriving)
		load += strike(arriving)
	} else {
		b.lose(arriving)
	}
	b.scale.step(load)
	if b.now >= b.nextLine {
		b.nextLine += b.scale.period
		if !b.scale.off {
			b.show()
		}
	}
	if b.asked > 0 && b.fresh && !b.wire.busy() {
		b.asked--
		b.wire.send(b.now, b.format, b.shown)
	}
	b.sent = b.wire.step(b.now, b.sent[:0])
	b.out = b.damage.Pass(b.now, b.sent, b.out)
}

// show makes a displayed value and, unasked, sends it unless the line before it is still being sent.
func (b *Bench) show() {
	if b.scale.tired() {
		b.power(false)
		return
	}
	shown := b.scale.sample()
	if b.frozen && b.fresh {
		shown = b.shown
		shown.stable = false
	}
	b.shown, b.fresh = shown, true
	if len(b.opt.Scale.OnRequest) == 0 && !b.wire.busy() {
		b.wire.send(b.now, b.format, shown)
	}
}

func (b *Bench) lose(m masses) {
	b.lost.add(m)
}

// tilt tips one jug and rights the other.
func (b *Bench) tilt(part int, tip float64) {
	b.right()
	b.jugs[part].tilt = tip
}

// right rights both jugs. What is on the lip still falls.
func (b *Bench) right() {
	for i := range b.jugs {
		b.jugs[i].tilt = 0
	}
}

// placeCup sets the lifted cup back, or a new one where there is none or where the batch it was poured for is over.
func (b *Bench) placeCup() {
	over := b.hand.screen.Phase == "" || b.hand.screen.Phase == "cup"
	if !b.cup.there || over && b.cup.used() {
		b.lose(b.cup.contents)
		b.cup = newCup(b.opt.Cup, b.cups)
		b.hand.lifted = false
	}
	b.cup.on, b.cup.placed = true, b.now
}

// Do is a button of the demo: "cup" puts a new empty cup on the pan, or the lifted one back; "lift" takes it off; "tip"
// tips the jug of the part now at hand, by 0 (upright) to 1 (as far as it goes); "rest" rights the jugs; "auto" lets the hand do it
// all for the rest of this batch, until one of the others takes over. Tip is used by "tip" alone.
func (b *Bench) Do(action string, tip float64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch action {
	case "cup":
		if b.cup.on {
			return fmt.Errorf("demo hand %q: a cup stands on the pan (lift it first)", action)
		}
		b.placeCup()
	case "lift":
		if !b.cup.on {
			return fmt.Errorf("demo hand %q: the pan is empty (place a cup first)", action)
		}
		b.hand.takeOff(b)
	case "tip":
		if !(tip >= 0 && tip <= 1) {
			return fmt.Errorf("demo hand %q: tip %v is not between 0 and 1", action, tip)
		}
		part := partOf(b.hand.screen.Part)
		if part == partNone {
			part = partA
		}
		b.hand.lastPart = part
		b.tilt(part, tip)
	case "rest":
		b.right()
	case "auto":
		if !b.auto {
			b.hand.begin(b.now + b.hand.reaction())
		}
	default:
		return fmt.Errorf("demo hand %q: unknown (known: cup, lift, tip, rest, auto)", action)
	}
	b.auto = action == "auto"
	return nil
}

// See shows the hand a screen. It is to be called with each new snapshot; the hand may follow it or not, see Do.
func (b *Bench) See(s Sight) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hand.see(b.now, s)
}

// Truth is the mass of A and of B that is in the cup, on the pan or lifted: exact, and without what is still falling.
func (b *Bench) Truth() (ofA, ofB reading.Mass) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.cup.contents[partA], b.cup.contents[partB]
}

// Damaged says what the line has done to the scale's bytes so far.
func (b *Bench) Damaged() DamageCount {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.damage.Count()
}
