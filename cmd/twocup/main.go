// Command twocup guides the weighing-out of two-part resins: a daemon that reads a bench scale, the display over the
// bench, and the record of what was poured.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"reflect"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// Exit codes of the contract.
const (
	exitDone        = 0
	exitFault       = 1 // found at fault
	exitUsage       = 2
	exitUnreachable = 3 // can't reach what it needs
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// commands is the command line.
type commands struct {
	Demo      demoCommand      `cmd:"" help:"A bench with a simulated scale on a real pseudo-terminal; opens with example materials."`
	Serve     serveCommand     `cmd:"" help:"The daemon."`
	Ports     portsCommand     `cmd:"" help:"Serial ports and HID scales, with USB ids and stable names."`
	Listen    listenCommand    `cmd:"" help:"Live readings of a scale and the raw lines behind them."`
	Check     checkCommand     `cmd:"" help:"Reads a configuration and says all that is wrong with it, with line numbers."`
	Identify  identifyCommand  `cmd:"" help:"Finds the line settings and the line shape of an unknown scale, and prints its entry for the configuration."`
	Materials materialsCommand `cmd:"" help:"Material cards in and out of a shop's records."`
	Habits    habitsCommand    `cmd:"" help:"What is kept of how each person pours, and how it is forgotten."`
	Plan      planCommand      `cmd:"" help:"Targets, windows and checks of a batch, nothing started."`
	Rehearse  rehearseCommand  `cmd:"" help:"Simulated pours with and without guidance: over-pours, error, time."`
	Simulate  simulateCommand  `cmd:"" help:"A simulated scale on a pseudo-terminal, or a HID scale, whose name it prints, for trying other programs or this one."`
	Records   recordsCommand   `cmd:"" help:"What was poured, read from a running or stopped daemon's data folder."`
	Version   versionCommand   `cmd:"" help:"Says which build this is."`
}

// streams is what a command reads, and where it writes: results to out, the rest to log.
type streams struct {
	in       io.Reader
	out, log io.Writer
}

// failure is an error with its exit code.
type failure struct {
	code int
	err  error
}

func (f *failure) Error() string { return f.err.Error() }
func (f *failure) Unwrap() error { return f.err }

func unreachable(format string, args ...any) error {
	return &failure{exitUnreachable, fmt.Errorf(format, args...)}
}

// readMass reads a flag that is a mass with its unit.
func readMass(ctx *kong.DecodeContext, target reflect.Value) error {
	var text string
	if err := ctx.Scan.PopValueInto("mass", &text); err != nil {
		return err
	}
	m, err := reading.ParseMass(text)
	target.Set(reflect.ValueOf(m))
	return err
}

// run is the program with its surroundings handed in; it returns the exit code.
func run(ctx context.Context, args []string, s streams) int {
	helped := false
	parser := kong.Must(&commands{},
		kong.Name("twocup"), kong.Description("Two-part resins, weighed out right."),
		kong.Writers(s.out, s.log), kong.Exit(func(int) { helped = true }),
		kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(s), kong.TypeMapper(reflect.TypeFor[reading.Mass](), kong.MapperFunc(readMass)), kong.Vars{"shapes": strings.Join(simulator.Shapes(), ", ")})
	command, err := parser.Parse(args)
	switch {
	case helped:
		return exitDone
	case err != nil:
		fmt.Fprintf(s.log, "twocup: %v (see twocup --help)\n", err)
		return exitUsage
	}
	if err := command.Run(); err != nil {
		var f *failure
		if !errors.As(err, &f) {
			f = &failure{exitFault, err}
		}
		if f.err != nil {
			fmt.Fprintf(s.log, "twocup: %v\n", f.err)
		}
		return f.code
	}
	return exitDone
}
