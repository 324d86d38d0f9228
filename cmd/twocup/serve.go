package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"twocup/dashboard"
	"twocup/station"
	"twocup/station/ledger"
)

type serveCommand struct {
	Config string `required:"" placeholder:"FILE" help:"The configuration."`
	Record string `placeholder:"DIR" help:"Folder for the raw bytes of each scale with their times, to be replayed or sent to us."`
}

func (c serveCommand) Run(ctx context.Context, s streams) error {
	cfg, err := loadConfig(c.Config, s)
	if err != nil {
		return err
	}
	d, err := openDaemon(cfg.listen, cfg.data, s)
	if err != nil {
		return err
	}
	simulated, err := newSimulations(cfg)
	if err != nil {
		d.close()
		return &failure{exitUnreachable, err}
	}
	defer simulated.end()
	if c.Record != "" {
		stop, err := record(cfg.stations, c.Record, d.log)
		defer stop()
		if err != nil {
			d.close()
			return &failure{exitUnreachable, err}
		}
	}
	return d.run(ctx, cfg.stations, nil, func(ctx context.Context, benches []*station.Station) {
		simulated.start(ctx, benches, d.log)
	})
}

// daemon is what serve and demo have in common: an address, a ledger, and what runs between them.
type daemon struct {
	listener net.Listener
	ledger   *ledger.Ledger
	log      *slog.Logger
}

// openDaemon gets hold of what can be missing before anything runs.
func openDaemon(listen, data string, s streams) (*daemon, error) {
	l, err := ledger.Open(data)
	if err != nil {
		return nil, &failure{exitUnreachable, err}
	}
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		l.Close()
		if op := (*net.OpError)(nil); errors.As(err, &op) {
			err = op.Err
		}
		return nil, unreachable("listen on %s: %w (end the program that has it, or name another address)", listen, err)
	}
	return &daemon{listener, l, slog.New(slog.NewTextHandler(s.log, nil))}, nil
}

func (d *daemon) close() {
	d.listener.Close()
	d.ledger.Close()
}

// run serves until ctx ends. Started is called once everything stands; its ctx ends with
// the daemon.
func (d *daemon) run(ctx context.Context, stations []station.Config, hand dashboard.Hand, started func(context.Context, []*station.Station)) error {
	defer d.close()
	ctx, cancel := context.WithCancel(ctx)
	var thinning sync.WaitGroup
	thinning.Go(func() { d.thinTraces(ctx) })
	defer func() { cancel(); thinning.Wait() }()
	metrics := dashboard.NewMetrics()
	var benches []*station.Station
	for _, cfg := range stations {
		cfg.Ledger, cfg.Log, cfg.Recorded, cfg.Wrote = d.ledger, d.log, metrics.Recorded, metrics.Wrote
		benches = append(benches, station.Start(ctx, cfg))
	}
	screens := dashboard.New(ctx, dashboard.Config{
		Stations: benches, Ledger: d.ledger, Metrics: metrics, Version: version(), Hand: hand, Log: d.log,
	})
	server := &http.Server{Handler: screens, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(d.listener) }()
	d.log.Info("serving", "address", d.listener.Addr().String(), "stations", len(benches))
	started(ctx, benches)
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
		err = fmt.Errorf("serve %s: %w", d.listener.Addr(), err)
	}
	cancel()
	d.end(server, screens, benches)
	return err
}

// maxTraces is what the traces of all batches may take together, in bytes: some thousands of hours of pouring.
const maxTraces = 256 << 20

// thinTraces keeps the traces within their size, now and once a day.
func (d *daemon) thinTraces(ctx context.Context) {
	for {
		if err := d.ledger.ThinTraces(ctx, maxTraces); err != nil && ctx.Err() == nil {
			d.log.Error("thin the oldest traces", "err", err)
		}
		select {
		case <-time.After(24 * time.Hour):
		case <-ctx.Done():
			return
		}
	}
}

// end waits for everything to have ended, requests first, and for what is queued to be written.
func (d *daemon) end(server *http.Server, screens *dashboard.Server, benches []*station.Station) {
	late, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
	defer cancel()
	if err := server.Shutdown(late); err != nil {
		server.Close()
	}
	screens.Wait()
	for _, b := range benches {
		b.Wait()
	}
}
