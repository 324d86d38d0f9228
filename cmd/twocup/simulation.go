package main

import (
	"context"
	"log/slog"
	"sync"

	"twocup/scaledrv"
	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
)

// simulation is a simulated bench on a pseudo-terminal or as a pseudo HID device, and the person at it who watches a station's screen.
type simulation struct {
	bench   *simulator.Bench
	line    carrier
	answers chan string // the hand's, to questions
	running sync.WaitGroup
}

func newSimulation(opt simulator.Options) (*simulation, error) {
	m := &simulation{answers: make(chan string, 1)}
	opt.Answer = func(choice string) {
		select {
		case m.answers <- choice:
		default: // the hand asks again
		}
	}
	var err error
	if m.bench, err = simulator.New(opt); err != nil {
		return nil, err
	}
	if opt.Scale.Shape == "hid" {
		m.line, err = newHIDCarrier()
		return m, err
	}
	pty, err := simulator.OpenPTY()
	m.line = ptyCarrier{pty}
	return m, err
}

// link reads the simulated scale as it would read a real one.
func (m *simulation) link() (scaledrv.Link, error) {
	return scaledrv.ParseLink(m.linkText())
}

func (m *simulation) linkText() string {
	if _, ok := m.line.(hidCarrier); ok {
		return "hid:" + m.line.name()
	}
	return "serial:" + m.line.name() + "?baud=9600&frame=8N1"
}

// start lets scale and person act until ctx ends, which end waits for.
func (m *simulation) start(ctx context.Context, st *station.Station, log *slog.Logger) {
	m.running.Go(func() {
		if err := m.bench.Run(ctx, m.line); err != nil {
			log.Error("the simulated scale has ended", "err", err)
		}
	})
	m.running.Go(func() { m.watchScreen(ctx, st) })
}

// end takes the line away, after the ctx of start has ended.
func (m *simulation) end() {
	m.running.Wait()
	m.line.Close()
}

// watchScreen is the simulated person's eye, and the finger that answers a question.
func (m *simulation) watchScreen(ctx context.Context, st *station.Station) {
	snapshots, stop, err := st.Watch(ctx)
	if err != nil {
		return
	}
	defer stop()
	var id string
	for {
		select {
		case snap, open := <-snapshots:
			if !open {
				return
			}
			id = ""
			if snap.Batch != nil {
				id = snap.Batch.ID
			}
			m.bench.See(sight(snap.Batch))
		case choice := <-m.answers:
			if _, err := st.Act(ctx, id, station.Action{Act: batch.Act{Action: choice}}); err != nil {
				continue // the question has gone; the next screen says what is asked now
			}
		case <-ctx.Done():
			return
		}
	}
}

// sight is what a person sees of a batch on the screen.
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

// simulations are those of the stations whose link is sim:, by id. Such a scale is as its entry says, and a simulated
// person pours every batch at it.
type simulations map[string]*simulation

// newSimulations makes them and gives the stations their links. The error leaves none behind.
func newSimulations(cfg config) (simulations, error) {
	all := simulations{}
	for i := range cfg.stations {
		st := &cfg.stations[i]
		unit := cfg.simulated[st.ID]
		if unit == "" {
			continue
		}
		shape := st.Shape.Name()
		if shape == "auto" {
			shape = "" // the simulator's own
		}
		m, err := newSimulation(simulator.Options{Auto: true, Scale: simulator.ScaleOptions{
			Shape: shape, Unit: unit, Division: st.Scale.Division, Capacity: st.Scale.Capacity,
			OnRequest: st.Driver.Request, TareCommand: st.Driver.Tare, ZeroCommand: st.Driver.Zero, AutoOff: st.Driver.AutoOff,
		}})
		if err == nil {
			all[st.ID] = m
			st.Link, err = m.link()
		}
		if err != nil {
			all.end()
			return nil, err
		}
	}
	return all, nil
}

func (all simulations) start(ctx context.Context, benches []*station.Station, log *slog.Logger) {
	for _, st := range benches {
		if m := all[st.ID()]; m != nil {
			m.start(ctx, st, log)
		}
	}
}

func (all simulations) end() {
	for _, m := range all {
		m.end()
	}
}
