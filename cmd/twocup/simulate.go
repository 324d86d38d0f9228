package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

type simulateCommand struct {
	Shape    string       `default:"status-comma" help:"Shape of its lines: ${shapes}."`
	Rate     float64      `default:"10" placeholder:"HZ" help:"Displayed values a second."`
	Baud     int          `default:"9600" help:"Speed of the line; who opens it with another reads what a UART would."`
	Frame    string       `default:"8N1" help:"Data bits, parity and stop bits of the line."`
	Unit     string       `default:"g" help:"Unit that the scale starts in."`
	Division reading.Mass `placeholder:"MASS" help:"Step of the display; by default 0.1 g or what the unit has near it."`
	Capacity reading.Mass `default:"6000 g" help:"Largest load."`
	Request  string       `placeholder:"TEXT" help:"Send only on this request, a Go string such as 'SI\\r\\n'; by default unasked."`
	Tare     string       `placeholder:"TEXT" help:"A command that presses TARE, written as a request."`
	Zero     string       `placeholder:"TEXT" help:"A command that presses ZERO, written as a request."`
	Comma    bool         `help:"A decimal comma."`
	Framed   bool         `help:"STX before and ETX behind each line."`
	End      string       `enum:"crlf,cr,lf" default:"crlf" help:"Line ends: crlf, cr or lf."`
	Checksum bool         `help:"One more byte behind a line of stx-words."`
	Damage
	TCP  string `name:"tcp" placeholder:"ADDRESS" help:"Behind a network adapter, such as 127.0.0.1:4001, in place of a pseudo-terminal."`
	Seed uint64 `default:"1" help:"The same seed gives the same noise."`
}

// Damage is what the line does to the bytes: rates of the bytes sent, 0 to 1.
type Damage struct {
	Flip      float64 `placeholder:"RATE" help:"A bit of the byte is turned."`
	Drop      float64 `placeholder:"RATE" help:"The byte is lost."`
	Duplicate float64 `placeholder:"RATE" help:"The byte comes twice."`
	Cut       float64 `placeholder:"RATE" help:"The rest of the line is lost."`
	Merge     float64 `placeholder:"RATE" help:"The line's end is lost (of the line ends)."`
	Burst     float64 `placeholder:"RATE" help:"NUL or 0xFF come before the byte."`
	Delay     float64 `placeholder:"RATE" help:"The byte and all behind it come late."`
}

// carrier is what the simulated scale is plugged into.
type carrier interface {
	io.WriteCloser
	name() string // as it stands in a link behind serial:, hid: or tcp://
}

type ptyCarrier struct{ *simulator.PTY }

func (p ptyCarrier) name() string { return p.Path() }

type tcpCarrier struct{ *simulator.TCP }

func (t tcpCarrier) name() string { return t.Address() }

// hidCarrier is a pseudo device in a folder of its own.
type hidCarrier struct {
	*simulator.HID
	folder string
}

func newHIDCarrier() (carrier, error) {
	folder, err := os.MkdirTemp("", "twocup-hid-")
	if err != nil {
		return nil, err
	}
	h, err := simulator.OpenHID(folder, "", 0)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	return hidCarrier{h, folder}, nil
}

func (h hidCarrier) name() string { return h.Node() + "?sys=" + h.Sys() }

func (h hidCarrier) Close() error { return errors.Join(h.HID.Close(), os.RemoveAll(h.folder)) }

func (c simulateCommand) Run(ctx context.Context, s streams) error {
	bench, err := c.bench()
	if err != nil {
		return &failure{exitUsage, err}
	}
	line, err := c.carrier(bench)
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	defer line.Close()
	fmt.Fprintln(s.out, line.name())
	fmt.Fprintf(s.log, "A simulated scale sends there until Ctrl-C. Type what happens at it: %s\n", handWords)
	go func() {
		for in := bufio.NewScanner(s.in); in.Scan(); {
			if err := handle(bench, line, strings.Fields(in.Text())); err != nil {
				fmt.Fprintln(s.log, err)
			}
		}
	}()
	return bench.Run(ctx, line)
}

func (c simulateCommand) bench() (*simulator.Bench, error) {
	if c.Shape == "hid" && c.TCP+c.Request+c.Tare+c.Zero != "" {
		return nil, errors.New("--tcp, --request, --tare and --zero go with a line, and a HID scale has none: leave them out")
	}
	opt := simulator.ScaleOptions{
		Line:  simulator.LineOptions{Comma: c.Comma, Framed: c.Framed, Checksum: c.Checksum},
		Shape: c.Shape, RateHz: c.Rate, Baud: c.Baud, Frame: c.Frame, Unit: c.Unit, Division: c.Division, Capacity: c.Capacity,
	}
	for _, text := range []struct {
		flag, given string
		to          *[]byte
	}{{"request", c.Request, &opt.OnRequest}, {"tare", c.Tare, &opt.TareCommand}, {"zero", c.Zero, &opt.ZeroCommand}} {
		var err error
		if *text.to, err = unescape(text.flag, text.given); err != nil {
			return nil, err
		}
	}
	if c.End != "crlf" {
		opt.Line.End = map[string]string{"cr": "\r", "lf": "\n"}[c.End]
	}
	return simulator.New(simulator.Options{Seed: c.Seed, Scale: opt, Damage: simulator.DamageOptions{
		Seed: c.Seed, Flip: c.Flip, Drop: c.Drop, Duplicate: c.Duplicate, Cut: c.Cut, Merge: c.Merge, Burst: c.Burst, Delay: c.Delay,
	}})
}

func (c simulateCommand) carrier(bench *simulator.Bench) (carrier, error) {
	switch {
	case c.Shape == "hid":
		return newHIDCarrier()
	case c.TCP != "":
		t, err := simulator.ListenTCP(c.TCP, 0)
		return tcpCarrier{t}, err
	}
	p, err := simulator.OpenPTY()
	if err != nil {
		return nil, err
	}
	if err := p.Honour(bench.UART()); err != nil {
		p.Close()
		return nil, err
	}
	return ptyCarrier{p}, nil
}

const handWords = "cup, lift, tip SHARE (0 to 1), rest, tare, zero, unit SYMBOL, power on|off, freeze on|off, fault on|off, unplug"

// handle does at the simulated bench what somebody has typed.
func handle(b *simulator.Bench, line carrier, words []string) error {
	if len(words) == 0 {
		return nil
	}
	argument := strings.Join(words[1:], " ")
	on := argument == "on"
	switch words[0] {
	case "cup", "lift", "rest":
		return b.Do(words[0], 0)
	case "tip":
		tip, err := strconv.ParseFloat(argument, 64)
		if err != nil {
			return fmt.Errorf("tip %q: give a share from 0 to 1", argument)
		}
		return b.Do("tip", tip)
	case "tare":
		return b.Tare()
	case "zero":
		return b.Zero()
	case "unit":
		return b.Unit(argument)
	case "unplug":
		t, ok := line.(tcpCarrier)
		if !ok {
			return errors.New("unplug: this line goes with the program; end it, or use --tcp")
		}
		t.Unplug()
		return nil
	case "power", "freeze", "fault":
		if !on && argument != "off" {
			return fmt.Errorf("%s %q: say on or off", words[0], argument)
		}
		map[string]func(bool){"power": b.Power, "freeze": b.Freeze, "fault": b.Fault}[words[0]](on)
		return nil
	}
	return fmt.Errorf("%q is nothing that can happen here: %s", words[0], handWords)
}
