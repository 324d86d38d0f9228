package station

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

// ErrEnded is the answer of a station that has ended; ErrNotDurable of one whose ledger takes too long.
var (
	ErrEnded      = errors.New("the station has ended")
	ErrNotDurable = errors.New("the ledger can't be written: what was asked for is not in force")
)

// patience is how long whoever asked for something waits for the ledger.
const patience = 10 * time.Second

// inLoop runs f in the station's own goroutine and waits for it.
func (s *Station) inLoop(ctx context.Context, f func()) error {
	ran := make(chan struct{})
	select {
	case s.asks <- func() { f(); close(ran) }:
	case <-s.done:
		return ErrEnded
	case <-ctx.Done():
		return ctx.Err()
	}
	<-ran
	return nil
}

// Snapshot of the station as it is now.
func (s *Station) Snapshot(ctx context.Context) (snap Snapshot, err error) {
	err = s.inLoop(ctx, func() { snap = s.snapshot(time.Now()) })
	return snap, err
}

// Watch gives snapshots as they are made, always the newest: a watcher that is slow misses some. The channel is closed
// when the station ends. Stop must be called once.
func (s *Station) Watch(ctx context.Context) (snapshots <-chan Snapshot, stop func(), err error) {
	ch := make(chan Snapshot, 1)
	err = s.inLoop(ctx, func() {
		s.watchers[ch] = struct{}{}
		ch <- s.snapshot(time.Now())
	})
	return ch, func() { _ = s.inLoop(context.Background(), func() { delete(s.watchers, ch) }) }, err
}

// Order is what a batch is started from.
type Order struct {
	Material     string              `json:"material"`
	Revision     *int                `json:"revision"` // of the card that was looked at; nil: whichever is the newest
	Amount       plan.Amount         `json:"amount"`
	Operator     string              `json:"operator"`
	Lots         map[string][]string `json:"lots"`
	Practice     bool                `json:"practice"`
	Cup          *plan.Cup           `json:"cup"`
	Split        *int                `json:"split"`
	TemperatureC *float64            `json:"temperature_c"`
	BPer100A     *float64            `json:"b_per_100_a"` // within the card's b_range

	again *batch.Again // the batch that it is like
}

// A BadOrder is an order that can't be carried out as it stands, with the field at fault.
type BadOrder struct{ Field, Detail string }

func (b *BadOrder) Error() string { return b.Detail }

// StartBatch plans a batch and starts it. The error is a *BadOrder, or a *batch.Refusal while another batch is on the
// scale or where the card has changed since it was looked at.
func (s *Station) StartBatch(ctx context.Context, o Order) (Record, error) {
	scale := s.Scale()
	switch {
	case scale.Division == 0 && s.cfg.Shape.Name() == "auto":
		return Record{}, &BadOrder{"station", fmt.Sprintf("the division of scale %q has not shown in its digits yet, so no window can be told: put different loads on the pan, or state it in the configuration", scale.ID)}
	case scale.Division == 0:
		return Record{}, &BadOrder{"station", fmt.Sprintf("the division of scale %q is not known, so no window can be told: state it in the configuration", scale.ID)}
	case o.Split != nil && *o.Split > 1:
		return Record{}, &BadOrder{"split", "a batch in several cups is not built yet: plan one cup and start it so many times"}
	case strings.TrimSpace(o.Operator) != o.Operator || strings.ContainsFunc(o.Operator, func(r rune) bool { return !unicode.IsPrint(r) }):
		return Record{}, &BadOrder{"operator", fmt.Sprintf("%q can't be told from other names by looking: write it without control characters, and without a blank at its ends", o.Operator)}
	}
	for part := range o.Lots {
		if part != "A" && part != "B" {
			return Record{}, &BadOrder{"lots", fmt.Sprintf("%q is no part: lots are those of A and B", part)}
		}
	}
	request, err := o.Request(ctx, s.cfg.Ledger, []plan.Scale{scale})
	if err != nil {
		return Record{}, err
	}
	if reasons := request.Card.NotBuilt(); len(reasons) > 0 {
		return Record{}, &BadOrder{"material", fmt.Sprintf("start a batch of %s: %s", o.Material, strings.Join(reasons, "; "))}
	}
	p, err := request.Plan()
	if err != nil {
		return Record{}, err
	}
	if err := p.Refusal(); err != nil {
		return Record{}, &BadOrder{"amount", err.Error()}
	}
	id, err := uuid.NewV7()
	if err != nil {
		return Record{}, fmt.Errorf("make a batch id: %w", err)
	}
	started := batch.Started{
		At: time.Now().UTC(), ID: id.String(), Station: s.cfg.ID, Operator: o.Operator, Lots: o.Lots, Practice: o.Practice,
		Card: material.Stored{Card: request.Card, Revision: request.Revision}, Plan: p, Auto: s.cfg.Auto,
		Amount: &o.Amount, BPer100A: o.BPer100A, Again: o.again,
	}
	hand := s.hand(ctx, started)
	started.Habits = hand.Habits
	err = s.durably(ctx, func(answer chan<- error) error { return s.begin(started, hand, answer) })
	if errors.Is(err, ledger.ErrFull) || errors.Is(err, ledger.ErrReadOnly) {
		return Record{}, fmt.Errorf("start a batch: %w: %w", ErrNotDurable, err)
	} else if err != nil {
		return Record{}, err
	}
	return s.Record(ctx, started.ID)
}

// Request is what the order asks to be planned, on these scales. The error is a *BadOrder where the material is unknown, a
// *batch.Refusal where its card is another one than was looked at.
func (o Order) Request(ctx context.Context, l *ledger.Ledger, scales []plan.Scale) (plan.Request, error) {
	card, err := l.Material(ctx, o.Material)
	if errors.Is(err, ledger.ErrNotFound) {
		return plan.Request{}, &BadOrder{"material", fmt.Sprintf("there is no material %q", o.Material)}
	} else if err != nil {
		return plan.Request{}, err
	}
	if o.Revision != nil && *o.Revision != card.Revision {
		return plan.Request{}, &batch.Refusal{Misfit: true, Detail: fmt.Sprintf("the card of %s is revision %d, and %d was looked at: look it over again", card.Name, card.Revision, *o.Revision)}
	}
	r := plan.Request{
		Card: card.Card, Revision: card.Revision, Amount: o.Amount, Scales: scales,
		Cup: o.Cup, TemperatureC: o.TemperatureC, BPer100A: o.BPer100A,
	}
	if o.Split != nil {
		if r.Split = *o.Split; r.Split < 1 {
			return r, &BadOrder{"split", fmt.Sprintf("is %d, must be a whole number of cups, 1 or more", r.Split)}
		}
	}
	return r, nil
}

// begin queues the start of a batch, in the loop.
func (s *Station) begin(f batch.Started, hand ledger.Hand, answer chan<- error) error {
	if s.state.OnScale() || s.starting() {
		return &batch.Refusal{Misfit: true, Detail: "another batch is on the scale: finish, scrap or abandon it first"}
	}
	if s.lent {
		return &batch.Refusal{Misfit: true, Detail: "the scale is being identified: wait for the answer"}
	}
	s.state.Pan.Divide(f.Plan.Scale.Division) // it may have been found while the last batch was on the scale
	s.zero()
	s.enqueue(job{batch: f.ID, facts: []batch.Fact{f}, hand: hand, answer: answer})
	return nil
}

// zero presses the scale's key of that name, where its entry states how, if the pan rests empty and off its zero.
func (s *Station) zero() {
	pan := s.state.Pan
	if off := pan.Now.Mass.Abs(); len(s.cfg.Driver.Zero) > 0 && pan.Settled(0) && off >= pan.Division && off < pan.Threshold() {
		s.press(scaledrv.KeyZero)
	}
}

// tare presses the scale's key of that name, where its entry states how. It is only done where the lines say gross or
// net: elsewhere a tare looks as if the cup were lifted.
func (s *Station) tare() {
	if len(s.cfg.Driver.Tare) > 0 && s.scale.last.Kind != reading.KindUnknown {
		s.press(scaledrv.KeyTare)
	}
}

func (s *Station) press(k scaledrv.Key) {
	if err := s.driver.Press(k); err != nil {
		s.log.Warn("press a key of the scale", "err", err)
	}
}

// starting says whether a batch's start is on its way to the ledger.
func (s *Station) starting() bool {
	for _, j := range s.queue {
		if _, ok := j.facts[0].(batch.Started); ok {
			return true
		}
	}
	return false
}

// Action is an action on a batch; with Seq, only if nothing it could be meant for has changed since that snapshot.
type Action struct {
	batch.Act
	Seq *uint64 `json:"seq"`
}

// Act does an action on a batch of this station's ledger, on the scale or off it. The error is a *batch.Refusal or
// ledger.ErrNotFound.
func (s *Station) Act(ctx context.Context, id string, a Action) (Record, error) {
	a.Act = a.Meant()
	a.At = time.Now().UTC()
	here := false
	err := s.durably(ctx, func(answer chan<- error) error {
		if a.Seq != nil && (*a.Seq < s.changed || *a.Seq > s.seq) { // one from the future is from before a restart
			return &batch.Refusal{Misfit: true, Detail: "the batch has moved on since that was shown: look again"}
		}
		if here = s.state.Start != nil && s.state.Start.ID == id; !here {
			answer <- nil
			return nil
		}
		return s.step(a.Act, answer)
	})
	switch {
	case err == nil && !here:
		err = s.actOff(ctx, id, a)
	case err == nil && a.Action == "tare":
		_ = s.inLoop(ctx, s.tare) // the action is done, whatever becomes of the key
	}
	if err != nil {
		return Record{}, s.ofAnother(ctx, a.Code, err)
	}
	return s.Record(ctx, id)
}

// actOff does an action on a batch that is on no scale, one at a time: each is judged by what the one before it has
// changed.
func (s *Station) actOff(ctx context.Context, id string, a Action) error {
	s.off.Lock()
	defer s.off.Unlock()
	entries, err := s.cfg.Ledger.Entries(ctx, id)
	if err != nil {
		return err
	}
	_, facts, err := batch.Step(replay(entries), a.Act)
	switch {
	case err != nil:
		return err
	case a.Action != "note" && a.Action != "scrap":
		return &batch.Refusal{Misfit: true, Detail: "the batch is on no scale: it can be noted on or scrapped, nothing else"}
	}
	return s.cfg.Ledger.Append(ctx, id, facts...)
}

// durably runs do in the loop and waits until the facts that it queued are durable.
func (s *Station) durably(ctx context.Context, do func(answer chan<- error) error) error {
	answer := make(chan error, 1)
	var refused error
	if err := s.inLoop(ctx, func() {
		if len(s.queue) >= maxQueue {
			refused = ErrNotDurable
			return
		}
		refused = do(answer)
	}); err != nil {
		return err
	}
	if refused != nil {
		return refused
	}
	select {
	case err := <-answer:
		return err
	case <-s.done:
		return ErrEnded
	case <-time.After(patience):
		return fmt.Errorf("%w yet, and will be once it can", ErrNotDurable)
	case <-ctx.Done():
		return ctx.Err()
	}
}
