package scaledrv

import (
	"bytes"
	"flag"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

var identifyEvery = flag.Int("identify-every", 211, "of the combinations of the identification table, every how many-th is run; 1 for all")

// sender is a simulated scale's way to send.
type sender struct {
	name  string
	scale simulator.ScaleOptions
}

var senders = []sender{
	{"status-comma", simulator.ScaleOptions{Shape: "status-comma"}},
	{"status-comma, no kind, comma", simulator.ScaleOptions{Shape: "status-comma", Line: simulator.LineOptions{NoKind: true, Comma: true, Pad: ' '}}},
	{"status-comma, framed, kg", simulator.ScaleOptions{Shape: "status-comma", Unit: "kg", Division: reading.Gram, Line: simulator.LineOptions{Framed: true, End: "\r"}}},
	{"letter-status", simulator.ScaleOptions{Shape: "letter-status"}},
	{"letter-status, by 0.5 g, LF", simulator.ScaleOptions{Shape: "letter-status", Division: reading.Gram / 2, Line: simulator.LineOptions{End: "\n"}}},
	{"unit-when-stable", simulator.ScaleOptions{Shape: "unit-when-stable"}},
	{"unit-when-stable, no head", simulator.ScaleOptions{Shape: "unit-when-stable", Line: simulator.LineOptions{NoKind: true}}},
	{"unit-when-stable, last digit blank", simulator.ScaleOptions{Shape: "unit-when-stable", Division: reading.Gram / 100, Capacity: reading.Kilogram, Line: simulator.LineOptions{BlankLast: true}}},
	{"trailing-flag", simulator.ScaleOptions{Shape: "trailing-flag"}},
	{"trailing-flag, stars", simulator.ScaleOptions{Shape: "trailing-flag", Line: simulator.LineOptions{MarkStable: true, Pad: '0'}}},
	{"trailing-flag, letters", simulator.ScaleOptions{Shape: "trailing-flag", Division: 2 * reading.Gram, Line: simulator.LineOptions{Letters: true, End: "\r"}}},
	{"stx-words", simulator.ScaleOptions{Shape: "stx-words"}},
	{"stx-words, checksum, lb", simulator.ScaleOptions{Shape: "stx-words", Unit: "lb", Line: simulator.LineOptions{Checksum: true}}},
	{"reversed", simulator.ScaleOptions{Shape: "reversed"}},
	{"reversed, CR, by 1 g", simulator.ScaleOptions{Shape: "reversed", Division: reading.Gram, Line: simulator.LineOptions{End: "\r"}}},
	{"bare", simulator.ScaleOptions{Shape: "bare"}},
	{"bare, unit", simulator.ScaleOptions{Shape: "bare", Line: simulator.LineOptions{Unit: true, Comma: true}}},
	{"bare, sign and unit", simulator.ScaleOptions{Shape: "bare", Line: simulator.LineOptions{Unit: true, Sign: true}}},
	{"bare, sign, LF", simulator.ScaleOptions{Shape: "bare", Line: simulator.LineOptions{Sign: true, Pad: '0', End: "\n"}}},
}

// slight is damage to some lines in a hundred.
func slight(seed uint64) simulator.DamageOptions {
	return simulator.DamageOptions{Seed: seed, Flip: 0.001, Drop: 0.0005, Duplicate: 0.0005, Cut: 0.0003, Burst: 0.0005, Merge: 0.005}
}

// tally of identifications under one heading.
type outcomes struct {
	right, unsure, wrong int
	took                 []float64 // seconds of those that are right
}

func (o *outcomes) row(name string) string {
	slices.Sort(o.took)
	median, worst := 0.0, 0.0
	if n := len(o.took); n > 0 {
		median, worst = o.took[n/2], o.took[n-1]
	}
	n := o.right + o.unsure + o.wrong
	return fmt.Sprintf("%s\t%d\t%d\t%.1f %%\t%d\t%d\t%.1f\t%.1f\t", name, n, o.right, 100*float64(o.right)/float64(n), o.unsure, o.wrong, median, worst)
}

// whatIsWrong of an identification that is sure; empty if nothing is.
func (s *sender) whatIsWrong(id Identification, baud int, frame string) string {
	c := id.Candidates[0]
	unit, division := s.scale.Unit, s.scale.Division
	if unit == "" {
		unit = "g"
	}
	step, _ := c.Division.Mass()
	switch {
	case len(id.Candidates) != 1 || id.Advice != "":
		return "sure, and not of one"
	case c.Baud != baud || c.Frame != strings.Replace(frame, "8N2", "8N1", 1):
		return fmt.Sprintf("%d %s", c.Baud, c.Frame)
	case c.Shape != s.scale.Shape:
		return c.Shape
	case c.UnitStated && c.Unit.String() != unit:
		return "unit " + c.Unit.String()
	case c.UnitStated && c.DivisionSure && division > 0 && step != division, c.UnitStated && division > 0 && step > division:
		return "division " + c.Division.String()
	}
	return ""
}

// TestIdentificationTable identifies simulated scales of every shape at every speed and frame, 1 to 50 lines a second, on an
// empty pan and with a load that comes, grows and rests, over a whole line and over one that damages some lines in a
// hundred. Nothing is ever wrong and sure. Where a load moves, at least 98 in 100 of a whole line are right.
//
// An empty pan shows less: there, a trailing flag that never comes, or a unit that is never blank, is a bare number.
func TestIdentificationTable(t *testing.T) {
	var mu sync.Mutex
	table, loaded := map[string]*outcomes{}, new(outcomes)
	var headings []string
	count := func(heading string, right bool, wrong string, took time.Duration) *outcomes {
		if table[heading] == nil {
			table[heading] = new(outcomes)
			headings = append(headings, heading)
		}
		table[heading].add(right, wrong, took)
		return table[heading]
	}
	t.Run("combinations", func(t *testing.T) {
		i := 0
		for n, s := range senders {
			var mine []func(t *testing.T)
			for _, baud := range bauds {
				for _, frame := range []string{"8N1", "7E1", "7O1", "8N2"} {
					for _, rate := range []float64{1, 5, 50} {
						for _, load := range []string{"empty pan", "load moves"} {
							for _, line := range []string{"whole", "damaged"} {
								if i++; i%*identifyEvery != 0 {
									continue
								}
								seed := uint64(1000 + i)
								mine = append(mine, func(t *testing.T) {
									opt := simulator.Options{Seed: seed, Scale: s.scale}
									opt.Scale.Baud, opt.Scale.Frame, opt.Scale.RateHz = baud, frame, rate
									if line == "damaged" {
										opt.Damage = slight(seed)
									}
									var acts []act
									if load == "load moves" {
										acts = poured
									}
									var told []string
									id := identifyAt(t, opt, acts, IdentifyOptions{Progress: func(text string) { told = append(told, text) }})
									if id.Sure && id.Took > 12*time.Second {
										t.Logf("slow: %s at %d %s, %g Hz, %s, %s, seed %d: %v %q", s.name, baud, frame, rate, load, line, seed, id.Took, told)
									}
									wrong := ""
									if id.Sure {
										wrong = s.whatIsWrong(id, baud, frame)
									}
									if wrong != "" {
										t.Errorf("wrong and sure: %s at %d %s, %g Hz, %s, %s, seed %d: %s %+v", s.name, baud, frame, rate, load, line, seed, wrong, id)
									}
									if !id.Sure && testing.Verbose() {
										t.Logf("unsure: %s at %d %s, %g Hz, %s, %s, seed %d: after %v %s", s.name, baud, frame, rate, load, line, seed, id.Took, id.Advice)
									}
									mu.Lock()
									defer mu.Unlock()
									count(load+", "+line+" line, "+s.name, id.Sure, wrong, id.Took)
									count(fmt.Sprintf("all, %s, %s line", load, line), id.Sure, wrong, id.Took)
									if load == "load moves" && line == "whole" {
										loaded.add(id.Sure, wrong, id.Took)
									}
								})
							}
						}
					}
				}
			}
			t.Run(fmt.Sprint(n, " ", s.name), func(t *testing.T) {
				t.Parallel()
				for _, f := range mine {
					f(t)
				}
			})
		}
	})
	out := new(bytes.Buffer)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "scale\truns\tright\t\tunsure\twrong\tmedian s\tworst s\t")
	slices.Sort(headings)
	for _, h := range headings {
		fmt.Fprintln(w, table[h].row(h))
	}
	require.NoError(t, w.Flush())
	t.Logf("every %d. combination\n%s", *identifyEvery, out)
	require.GreaterOrEqual(t, float64(loaded.right), 0.98*float64(loaded.right+loaded.unsure+loaded.wrong), "right, of scales whose load moves")
	slices.Sort(loaded.took)
	require.LessOrEqual(t, loaded.took[len(loaded.took)/2], 5.0, "median seconds")
	require.LessOrEqual(t, loaded.took[len(loaded.took)-1], 15.0, "worst seconds")
}

func (o *outcomes) add(right bool, wrong string, took time.Duration) {
	switch {
	case wrong != "":
		o.wrong++
	case right:
		o.right++
		o.took = append(o.took, took.Seconds())
	default:
		o.unsure++
	}
}
