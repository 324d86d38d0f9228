package simulator

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"twocup/scaledrv/reading"
)

// Sight is what a person sees of a station's screen: the contract's cue, phase and part with what is still to be poured of
// that part, and the choices of an open question. The zero Sight is a screen without a batch.
type Sight struct {
	Cue, Phase, Part string
	Remaining        reading.Mass
	Choices          []string
}

// HandOptions is one person. Corrective reaction of a hand to what the eye sees: mean 273 ms, between people 87 to 441 ms
// (Lin, Drury et al., Ergonomics 57, 2014).
type HandOptions struct {
	Reaction   time.Duration // mean time from a new cue to the hand's move; 0 means 270 ms
	ReactionSD time.Duration // of one person's reactions; 0 means 0.15 of Reaction (ours)
	Flow       float64       // grams per second that this person pours at most; 0 means 12
	Dribble    float64       // grams per second on the cue ease; 0 means 1.5
}

func (o HandOptions) withDefaults() (HandOptions, error) {
	orDefault(&o.Reaction, 270*time.Millisecond)
	orDefault(&o.ReactionSD, o.Reaction*15/100)
	orDefault(&o.Flow, 12)
	orDefault(&o.Dribble, 1.5)
	if o.Reaction < 0 || o.ReactionSD < 0 || !(o.Dribble > 0) || !(o.Flow >= o.Dribble) {
		return o, fmt.Errorf("hand %+v: times must not be negative, flows must be positive and Flow not below Dribble", o)
	}
	return o, nil
}

// perception is a sight on its way from the eye to the hand.
type perception struct {
	at    time.Duration
	sight Sight
}

// hand is a person who follows cues. Except for the reaction its times are ours: what is seen at a bench, not measured.
type hand struct {
	opt      HandOptions
	random   *rand.Rand
	screen   Sight        // on the screen now
	coming   []perception // changes not yet acted upon, oldest first
	sight    Sight        // acted upon now
	next     time.Duration
	tipping  bool    // a top-up's short tip is under way and ends at next
	flow     float64 // chosen for this pour or tip, grams per second
	wander   float64 // of the flow: -0.15 to 0.15 of it
	lastPart int     // last poured from
	lifted   bool    // the cup was taken off since the last answer
}

const mostComing = 8

func newHand(opt HandOptions, seed uint64) hand {
	return hand{opt: opt, random: rand.New(rand.NewPCG(seed, 'H')), lastPart: partNone, coming: make([]perception, 0, mostComing)}
}

// see takes in a screen. A number that changes is read as it changes; a new cue, part or question takes a reaction.
func (h *hand) see(now time.Duration, s Sight) {
	before := h.screen
	h.screen = s
	if s.Cue == before.Cue && s.Part == before.Part && slices.Equal(s.Choices, before.Choices) {
		return
	}
	if len(h.coming) == mostComing { // more than a person can follow: the newest takes the place of the one before it
		h.coming = h.coming[:mostComing-1]
	}
	at := now + h.reaction()
	if n := len(h.coming); n > 0 {
		at = max(at, h.coming[n-1].at)
	}
	h.coming = append(h.coming, perception{at, s})
}

// reaction is normal about the person's mean and never below half of it.
func (h *hand) reaction() time.Duration {
	spread := time.Duration(h.random.NormFloat64() * float64(h.opt.ReactionSD))
	return max(h.opt.Reaction+spread, h.opt.Reaction/2)
}

func (h *hand) between(shortest, longest time.Duration) time.Duration {
	return shortest + time.Duration(h.random.Float64()*float64(longest-shortest))
}

// notice makes the changes that have had their reaction the ones to act upon. It says whether there was one.
func (h *hand) notice(now time.Duration) (noticed bool) {
	for len(h.coming) > 0 && h.coming[0].at <= now {
		h.sight = h.coming[0].sight
		h.coming = slices.Delete(h.coming, 0, 1)
		noticed = true
	}
	if noticed {
		h.begin(now)
	}
	return noticed
}

// begin plans what the cue asks for, from now on.
func (h *hand) begin(now time.Duration) {
	h.tipping = false
	h.next = now
	switch h.sight.Cue {
	case "place":
		h.next += h.between(500*time.Millisecond, 1500*time.Millisecond)
	case "change_over": // longer than the 4 s within which a station takes a rise for the tail of A
		h.next += h.between(4500*time.Millisecond, 6*time.Second)
		h.chooseFlow()
	case "pour", "correct":
		h.chooseFlow()
	case "answer":
		h.next += h.between(800*time.Millisecond, 1500*time.Millisecond)
	case "done":
		h.next += h.between(time.Second, 2*time.Second)
	}
}

// chooseFlow picks a flow at which the pour lasts four seconds or more: nobody pours 5 g as fast as 500 g.
func (h *hand) chooseFlow() {
	h.flow = max(h.opt.Dribble, min(h.screen.Remaining.Grams()/4, h.opt.Flow))
}

// act does one Step of what the cue asks for.
func (h *hand) act(b *Bench) {
	part := partOf(h.sight.Part)
	switch h.sight.Cue {
	case "pour", "correct":
		h.pour(b, part, h.flow)
	case "ease":
		h.pour(b, part, h.opt.Dribble)
	case "change_over":
		if b.now >= h.next {
			h.pour(b, part, h.flow)
		} else {
			b.right()
		}
	case "top_up":
		h.topUp(b, part)
	default:
		b.right()
		if b.now >= h.next {
			h.handle(b)
		}
	}
}

// handle does what is done with empty hands, once its time has come.
func (h *hand) handle(b *Bench) {
	switch h.sight.Cue {
	case "place":
		h.place(b)
	case "answer":
		b.answer = h.choose(h.sight.Choices)
		h.next = b.now + 3*time.Second // asked again, it answers again
	case "done":
		h.takeOff(b)
		b.auto = b.opt.Auto
	}
}

// place puts a cup on the pan, or sets the lifted one back. A cup that has stood there for 6 s and still is asked for is
// taken off first.
func (h *hand) place(b *Bench) {
	if !b.cup.on {
		b.placeCup()
		return
	}
	if b.now-b.cup.placed > 6*time.Second {
		h.takeOff(b)
		h.next = b.now + h.between(500*time.Millisecond, 1500*time.Millisecond)
	}
}

func (h *hand) takeOff(b *Bench) {
	h.lifted = h.lifted || b.cup.on
	b.cup.on = false
}

// kick makes a wander of standard deviation 0.075 that forgets in 1 s (an Ornstein-Uhlenbeck process: s·√(2·Step/τ)).
var kick = 0.075 * math.Sqrt(2*Step.Seconds())

// pour holds the jug so that it gives a flow, as steadily as a person does: within 15 %, wandering in about a second.
func (h *hand) pour(b *Bench, part int, flow float64) {
	if part == partNone {
		b.right()
		return
	}
	h.lastPart = part
	b.tilt(part, b.jugs[part].tip(h.steady(flow)))
}

// steady is the flow that a person holds for one Step who means to hold this one.
func (h *hand) steady(flow float64) float64 {
	h.wander += -h.wander*Step.Seconds() + kick*h.random.NormFloat64()
	h.wander = max(-0.15, min(h.wander, 0.15))
	return flow * (1 + h.wander)
}

// topUp gives what is still to come by one short tip, in drops below a gram, then waits for the scale before the next.
func (h *hand) topUp(b *Bench, part int) {
	switch {
	case part == partNone || b.now < h.next && !h.tipping:
		b.right()
	case b.now < h.next:
		h.pour(b, part, h.flow)
	case h.tipping:
		b.right()
		h.tipping, h.next = false, b.now+3*time.Second
	default:
		drop := b.jugs[part].liquid.Drop.Grams()
		amount := h.screen.Remaining.Grams()
		h.flow = h.opt.Dribble
		if amount < 1 {
			h.flow = 4 * drop // four drops a second
		}
		amount = max(drop, amount*(0.9+0.1*h.random.NormFloat64())) // judged by eye
		h.tipping, h.next = true, b.now+time.Duration(amount/h.flow*float64(time.Second))
	}
}

// choose answers a question by what was really done; where nothing done decides it, by the first choice.
func (h *hand) choose(choices []string) string {
	truth := []string{"tared", "poured"}
	if h.lifted {
		truth[0] = "lifted"
	}
	switch h.lastPart {
	case partA:
		truth = append(truth, "to_a")
	case partB:
		truth = append(truth, "to_b")
	}
	for _, c := range choices {
		addition := h.lastPart == partOther && strings.HasPrefix(c, "to_") && c != "to_a" && c != "to_b"
		if addition || slices.Contains(truth, c) {
			h.lifted = false
			return c
		}
	}
	if len(choices) == 0 {
		return ""
	}
	return choices[0]
}
