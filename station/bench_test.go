package station_test

import (
	"context"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

// pipeLink brings the bytes of a simulated bench in the bubble's time: a file descriptor would stop its clock.
type pipeLink struct{ bench *simulator.Bench }

func (pipeLink) Name() string { return "simulated" }

func (l pipeLink) Open(ctx context.Context) (scaledrv.Port, error) {
	near, far := net.Pipe()
	go func() {
		defer near.Close()
		_ = l.bench.Run(ctx, near)
	}()
	context.AfterFunc(ctx, func() { near.Close() })
	return far, nil
}

// rig is a station whose scale, cup, jugs and hand are simulated.
type rig struct {
	t       *testing.T
	bench   *simulator.Bench
	station *station.Station
	ledger  *ledger.Ledger
	stop    func()
	hand    string                       // the operator; empty: nobody says
	check   func(*rig, station.Snapshot) // of every snapshot
}

var defaultAuto = batch.Auto{Tare: true, Accept: true, Settle: 1500 * time.Millisecond, HandOver: 4 * time.Second}

// newRig must be called inside a bubble; the ledger's folder outside of it.
func newRig(t *testing.T, dir string, opt simulator.Options, check func(*rig, station.Snapshot)) *rig {
	r := &rig{t: t, check: check}
	answers := make(chan string, 1)
	opt.Auto = true
	opt.Answer = func(choice string) {
		select {
		case answers <- choice:
		default:
		}
	}
	var err error
	r.bench, err = simulator.New(opt)
	require.NoError(t, err)
	r.ledger, err = ledger.Open(dir)
	require.NoError(t, err)
	for _, card := range material.Demo() {
		_, _ = r.ledger.AddMaterial(t.Context(), card, time.Now()) // there from the pour before
	}
	name := "status-comma"
	if opt.Scale.Shape != "" {
		name = opt.Scale.Shape
	}
	shape, err := scaledrv.ShapeByName(name, scaledrv.ShapeOptions{Unit: reading.UnitG})
	require.NoError(t, err)
	division := opt.Scale.Division
	if division == 0 {
		division = reading.Gram / 10
	}
	ctx, cancel := context.WithCancel(context.Background())
	r.station = station.Start(ctx, station.Config{
		ID: "bench-1", Link: pipeLink{r.bench}, Shape: shape, Auto: defaultAuto, Ledger: r.ledger,
		Scale: plan.Scale{ID: "small", Division: division, Capacity: 6 * reading.Kilogram},
	})
	var hands sync.WaitGroup
	hands.Go(func() { r.watch(ctx, answers) })
	r.stop = func() {
		cancel()
		hands.Wait()
		r.station.Wait()
		require.NoError(t, r.ledger.Close())
	}
	return r
}

// watch shows the hand every snapshot.
func (r *rig) watch(ctx context.Context, answers <-chan string) {
	snapshots, stop, err := r.station.Watch(ctx)
	if err != nil {
		return
	}
	defer stop()
	id := ""
	for {
		select {
		case snap, open := <-snapshots:
			if !open {
				return
			}
			r.check(r, snap)
			if snap.Batch != nil {
				id = snap.Batch.ID
			}
			r.bench.See(sight(snap.Batch))
		case choice := <-answers:
			_, _ = r.station.Act(ctx, id, station.Action{Act: batch.Act{Action: choice}}) // the question may have gone
		case <-ctx.Done():
			return
		}
	}
}

func sight(v *batch.View) simulator.Sight {
	if v == nil {
		return simulator.Sight{}
	}
	s := simulator.Sight{Cue: string(v.Cue), Phase: string(v.Phase)}
	if v.Part != nil {
		s.Part, s.Remaining = *v.Part, *v.Remaining
	}
	if v.Question != nil {
		s.Choices = v.Question.Choices
	}
	return s
}

// weighOut starts a batch and lets the hand pour it to its end, or until it has taken too long.
func (r *rig) weighOut(card, total string) (record station.Record, a, b reading.Mass) {
	amount, err := reading.ParseMass(total)
	require.NoError(r.t, err)
	ctx := context.Background()
	started, err := r.station.StartBatch(ctx, station.Order{Material: card, Amount: plan.Amount{TotalG: &amount}, Operator: r.hand})
	require.NoError(r.t, err)
	for range 6000 { // ten minutes
		time.Sleep(100 * time.Millisecond)
		synctest.Wait()
		if record, err = r.station.Record(ctx, started.ID); err == nil && record.Verdict != nil {
			a, b = r.bench.Truth()
			return record, a, b
		}
	}
	snap, _ := r.station.Snapshot(ctx)
	require.FailNow(r.t, "no verdict in ten minutes", "%+v %+v", snap.Scale, snap.Batch)
	return
}

// person is one of many: what differs between benches, by seed.
func person(seed uint64) (opt simulator.Options, card, total string) {
	random := rand.New(rand.NewPCG(seed, 'P'))
	liquid := []simulator.Liquid{simulator.Thin, simulator.Thick}
	opt = simulator.Options{
		Seed: seed,
		A:    liquid[random.IntN(2)],
		B:    liquid[random.IntN(2)],
		Hand: simulator.HandOptions{
			Reaction: time.Duration(87+random.IntN(354)) * time.Millisecond, // Lin, Drury et al., Ergonomics 57, 2014
			Flow:     5 + 25*random.Float64(),
			Dribble:  1 + 2*random.Float64(),
		},
		Scale: simulator.ScaleOptions{Lag: time.Duration(150+random.IntN(350)) * time.Millisecond, RateHz: []float64{5, 10, 20}[random.IntN(3)]},
	}
	card = []string{"harbour-clear", "cobble-rubber"}[random.IntN(2)]
	total = []string{"120 g", "150 g", "300 g", "450 g", "900 g"}[random.IntN(5)]
	return opt, card, total
}
