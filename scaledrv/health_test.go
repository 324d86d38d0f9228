package scaledrv

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// advices takes the events since the last call and gives what they advise, each change once, with the state it came in.
func (b *bench) advices() (said []string) {
	for {
		select {
		case e := <-b.Events():
			text := e.Link.String() + ": " + e.Advice
			if len(said) == 0 || said[len(said)-1] != text {
				said = append(said, text)
			}
		default:
			return said
		}
	}
}

// warnings are the warnings in the log.
func (b *bench) warnings() int { return strings.Count(b.log.String(), "level=WARN") }

func TestWhyAScaleIsSilentIsToldApart(t *testing.T) {
	for _, tt := range []struct {
		name string
		opt  Options
		line string // every 100 ms, after some good ones
		want string
	}{
		{"nothing comes", Options{}, "",
			"silent: Nothing comes from the scale: see that it is switched on, that it sends by itself or has a request in its entry, and that its cable is in"},
		{"rubbish of a wrong baud rate, which has no line ends", Options{}, "\xfe\x00\x9c\x00\xff",
			"silent: Bytes come from the scale, but no valid line: check baud rate and framing, and the line shape"},
		{"lines of another shape", Options{}, "=54.3210\r\n",
			"silent: Bytes come from the scale, but no valid line: check baud rate and framing, and the line shape"},
		{"lines without a weight", Options{}, "ST,TR,+0001.0 g\r\n",
			"silent: Lines come from the scale, but none with a weight: see what it shows and how its output is set"},
		{"numbers without a unit, where none is stated", Options{}, "ST,+0001.0\r\n",
			"silent: Lines come with a number and no unit: state `unit` in the scale's entry"},
		{"rubbish among which is a number", Options{}, "#\r\n$\r\nST,+0001.0\r\n",
			"silent: Bytes come from the scale, but no valid line: check baud rate and framing, and the line shape"},
		{"no answer", Options{Request: []byte("SI\r\n")}, "",
			`silent: The scale does not answer its request "SI\r\n": see that it is switched on, and that its manual has this request`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			onBenchWith(t, &fakeLink{}, tt.opt, func(b *bench) {
				listener(b, 0, func(int) string { return "" })
				b.send("\r\n" + line1 + line2)
				require.Equal(t, []string{"up: "}, b.advices())
				for range 100 {
					if tt.line != "" {
						b.send(tt.line)
					}
					b.pass(100 * ms)
				}
				require.Equal(t, []string{tt.want}, b.advices())
				require.LessOrEqual(t, b.warnings(), 2, "logged once and not in a loop; damage is told of while the last reading is fresh")
				b.send("\r\n" + line1)
				b.send(line2)
				require.True(t, strings.HasPrefix(b.advices()[0], "up: "))
			})
		})
	}
}

func TestRubbishThatBeginsLaterIsToldOfASilentScale(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.pass(2 * time.Second)
		require.Len(t, b.advices(), 1)
		b.send(strings.Repeat("\xff\x00", 20))
		require.Equal(t, []string{"silent: Bytes come from the scale, but no valid line: check baud rate and framing, and the line shape"}, b.advices())
	})
}

func TestARisingShareOfDamageIsToldWhileReadingsStillCome(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		good := func(lines int) (last string) {
			for i := range lines {
				b.send(fmt.Sprintf("ST,+%04d.0 g\r\n", i))
				b.pass(100 * ms)
				for _, said := range b.advices() {
					last = said
				}
			}
			return last
		}
		b.send("\r\n")
		good(20)
		b.send("ST,+00#7.0 g\r\n")
		require.Equal(t, "up: ", good(20), "one lost line in forty says nothing about a cable")
		for range 10 {
			b.send("ST,+00#7.0 g\r\n")
			good(2)
		}
		require.Regexp(t, `^up: Some \d+ % of what comes from the scale is damaged: check baud rate and framing, and the cable$`, good(1))
		require.Equal(t, "up: ", good(120), "it is well again")
		require.Equal(t, 1, b.warnings())
		require.Contains(t, b.log.String(), "scale is well again")
	})
}

func TestAValueThatStandsWhileTheScaleSaysThatItMovesIsAFault(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		send := func(line string, seconds int) (last string) {
			for range seconds {
				b.send(line)
				b.pass(time.Second)
				for _, last = range b.happened() {
				}
			}
			return last
		}
		b.send("\r\nUS,+0001.0 g\r\n")
		require.Equal(t, "up 1.0 g moving", send("US,+0001.0 g\r\n", 120))
		require.Equal(t, "up fault moving", send("US,+0001.0 g\r\n", 2))
		require.Contains(t, b.log.String(), "its converter may hang; switch it off and on")
		require.Equal(t, "up 1.1 g moving", send("US,+0001.1 g\r\n", 1), "it moves again")
		require.Equal(t, "up 1.1 g stable", send("ST,+0001.1 g\r\n", 3600), "a scale at rest may show one value for ever")
	})
}

func TestTheScalesOwnAutoOffIsWarnedOfAndToldFromAnOutage(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{AutoOff: 3 * time.Minute}, func(b *bench) {
		send := func(from, to int) (last string) {
			for i := from; i < to; i++ {
				b.send(fmt.Sprintf("ST,+0001.%d g\r\n", i%2)) // a digit that flickers is no change of the load
				b.pass(time.Second)
				for _, last = range b.advices() {
				}
			}
			return last
		}
		b.send("\r\n")
		require.Equal(t, "up: ", send(0, 150))
		require.Equal(t, "up: The scale is about to switch itself off (auto_off 3m0s): touch the pan", send(150, 181))
		b.pass(2 * time.Second)
		require.Equal(t, []string{"silent: Nothing comes from the scale, and it has been at rest: it has switched itself off (auto_off 3m0s); switch it on"}, b.advices())
		b.send("ST,+0000.0 g\r\n")
		b.send("ST,+0050.0 g\r\n")
		b.send("ST,+0050.0 g\r\n")
		require.Equal(t, []string{"up: "}, b.advices()[:1])
		b.pass(2 * time.Second)
		said := b.advices()
		require.Contains(t, said[len(said)-1], "Nothing comes from the scale: see that it is switched on", "it was in use a moment ago")
	})
}
