package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station"
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
	bench, err := newSimulation(simulator.Options{Seed: uint64(time.Now().UnixNano()), Auto: c.Hand == "auto"})
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	defer bench.end()
	d, err := openDaemon(c.Listen, c.Data, s)
	if err != nil {
		return err
	}
	return runDemo(ctx, d, bench, s)
}

// runDemo serves the simulated bench until ctx ends.
func runDemo(ctx context.Context, d *daemon, m *simulation, s streams) error {
	cfg, err := demoStation(m)
	if err == nil {
		err = addExamples(ctx, d.ledger)
	}
	if err != nil {
		d.close()
		return &failure{exitUnreachable, err}
	}
	return d.run(ctx, []station.Config{cfg}, m.bench.Do, func(ctx context.Context, benches []*station.Station) {
		m.start(ctx, benches[0], d.log)
		fmt.Fprintf(s.out, "A simulated bench is running. Open http://%s/bench/bench-1 (Ctrl-C ends it)\n", d.listener.Addr())
	})
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

// demoStation is a bench with the simulated scale.
func demoStation(m *simulation) (station.Config, error) {
	link, err := m.link()
	if err != nil {
		return station.Config{}, err
	}
	shape, err := scaledrv.ShapeByName("status-comma", scaledrv.ShapeOptions{})
	return station.Config{
		ID: "bench-1", Name: "Demo bench", Link: link, LinkText: m.linkText(), Shape: shape, Auto: defaultAuto,
		Scale: plan.Scale{ID: "simulated", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram},
	}, err
}
