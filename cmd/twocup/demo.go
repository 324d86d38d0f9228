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
	line, err := simulator.OpenPTY()
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	defer line.Close()
	d, err := openDaemon(c.Listen, c.Data, s)
	if err != nil {
		return err
	}
	if err := addExamples(ctx, d.ledger); err != nil {
		d.ledger.Close()
		return &failure{exitUnreachable, err}
	}
	return runDemo(ctx, d, line, c.Hand == "auto", s)
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

func runDemo(ctx context.Context, d *daemon, line *simulator.PTY, auto bool, s streams) error {
	cfg, err := demoStation(line.Path())
	if err != nil {
		return err
	}
	answers := make(chan string, 1)
	bench, err := simulator.New(simulator.Options{Seed: uint64(time.Now().UnixNano()), Auto: auto, Answer: func(choice string) {
		select {
		case answers <- choice:
		default: // the hand asks again
		}
	}})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var hands sync.WaitGroup
	defer hands.Wait()
	hands.Go(func() {
		if err := bench.Run(ctx, line); err != nil && ctx.Err() == nil {
			d.log.Error("the simulated scale has ended", "err", err)
		}
	})
	return d.run(ctx, []station.Config{cfg}, bench.Do, func(benches []*station.Station) {
		hands.Go(func() { watchScreen(ctx, benches[0], bench, answers) })
		fmt.Fprintf(s.out, "A simulated bench is running. Open http://%s/bench/bench-1 (Ctrl-C ends it)\n", d.listener.Addr())
	})
}

// watchScreen is the simulated person's eye, and the finger that answers a question.
func watchScreen(ctx context.Context, st *station.Station, bench *simulator.Bench, answers <-chan string) {
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
			bench.See(sight(snap.Batch))
		case choice := <-answers:
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
