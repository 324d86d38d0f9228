package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

type demoCommand struct {
	Listen string `default:"127.0.0.1:8280" help:"Address to serve on."`
	Data   string `placeholder:"DIR" help:"Folder for the records; by default a temporary one, removed at the end."`
	Hand   string `default:"none" enum:"auto,none" help:"auto: the simulated hand pours every batch; none: only where the page asks it to."`
}

func (c demoCommand) Run(ctx context.Context, s streams) error {
	if err := checkListen(c.Listen); err != nil {
		return &failure{exitUsage, fmt.Errorf("--listen: %w", err)}
	}
	if c.Data == "" {
		dir, err := os.MkdirTemp("", "twocup-demo-")
		if err != nil {
			return unreachable("make a temporary data folder: %w (or name one with --data)", err)
		}
		defer os.RemoveAll(dir)
		c.Data = dir
	}
	demo, err := newDemo(simulator.Options{Seed: uint64(time.Now().UnixNano()), Auto: c.Hand == "auto"})
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	defer demo.line.Close()
	d, err := openDaemon(c.Listen, c.Data, s)
	if err != nil {
		return err
	}
	return demo.run(ctx, d, s)
}

// addExamples adds the example materials that the folder doesn't have yet.
func addExamples(ctx context.Context, l *ledger.Ledger) error {
	for _, card := range material.Demo() {
		if _, err := l.AddMaterial(ctx, card, time.Now()); err != nil && !errors.Is(err, ledger.ErrExists) {
			return err
		}
	}
	return nil
}

// demoStation reads the simulated scale as it would read a real one.
func demoStation(path string) (station.Config, error) {
	link, err := scaledrv.ParseLink("serial:" + path + "?baud=9600&frame=8N1")
	if err != nil {
		return station.Config{}, err
	}
	shape, err := scaledrv.ShapeByName("status-comma")
	return station.Config{
		ID: "bench-1", Name: "Demo bench", Link: link, Shape: shape, Auto: defaultAuto,
		Scale: plan.Scale{ID: "simulated", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram},
	}, err
}

// demo is a simulated bench on a pseudo-terminal.
type demo struct {
	bench   *simulator.Bench
	line    *simulator.PTY
	answers chan string // the hand's, to questions
}

func newDemo(opt simulator.Options) (*demo, error) {
	d := &demo{answers: make(chan string, 1)}
	opt.Answer = func(choice string) {
		select {
		case d.answers <- choice:
		default: // the hand asks again
		}
	}
	var err error
	if d.bench, err = simulator.New(opt); err == nil {
		d.line, err = simulator.OpenPTY()
	}
	return d, err
}

// run has the daemon read the simulated scale until ctx ends.
func (d *demo) run(ctx context.Context, in *daemon, s streams) error {
	cfg, err := demoStation(d.line.Path())
	if err == nil {
		err = addExamples(ctx, in.ledger)
	}
	if err != nil {
		in.close()
		return &failure{exitUnreachable, err}
	}
	ctx, cancel := context.WithCancel(ctx)
	var hands sync.WaitGroup
	hands.Go(func() {
		if err := d.bench.Run(ctx, d.line); err != nil {
			in.log.Error("the simulated scale has ended", "err", err)
		}
	})
	err = in.run(ctx, []station.Config{cfg}, d.bench.Do, func(benches []*station.Station) {
		hands.Go(func() { d.watchScreen(ctx, benches[0]) })
		fmt.Fprintf(s.out, "A simulated bench is running. Open http://%s/bench/bench-1 (Ctrl-C ends it)\n", in.listener.Addr())
	})
	cancel()
	hands.Wait()
	return err
}

// watchScreen is the simulated person's eye, and the finger that answers a question.
func (d *demo) watchScreen(ctx context.Context, st *station.Station) {
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
			d.bench.See(sight(snap.Batch))
		case choice := <-d.answers:
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
