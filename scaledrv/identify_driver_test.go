package scaledrv

import (
	"cmp"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// onSimulated runs a test with a simulated scale and a driver that reads it in this shape, in a bubble.
func onSimulated(t *testing.T, scale simulator.ScaleOptions, shape Shape, opt Options, test func(ctx context.Context, bench *simulator.Bench, d *Driver)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		bench, err := simulator.New(simulator.Options{Seed: 5, Scale: scale})
		require.NoError(t, err)
		ctx, stop := context.WithCancel(t.Context())
		line := &simulatedLine{}
		var running sync.WaitGroup
		running.Go(func() { _ = bench.Run(ctx, line) })
		uart, err := simulator.NewUART(9600, "8N1")
		require.NoError(t, err)
		d := Start(ctx, &simulated{bench, uart, line}, shape, opt)
		test(ctx, bench, d)
		stop()
		for range d.Events() {
		}
		running.Wait()
	})
}

// until takes events up to the first that is as wanted.
func until(t *testing.T, d *Driver, wanted func(e Event) bool) (e Event) {
	t.Helper()
	late := time.After(2 * time.Minute)
	for {
		select {
		case e, open := <-d.Events():
			require.True(t, open, "the driver has ended")
			if wanted(e) {
				return e
			}
		case <-late:
			require.FailNow(t, "no such event")
		}
	}
}

func isFound(e Event) bool   { return e.Found != nil }
func isReading(e Event) bool { return e.HasReading }
func isAdvice(text string) func(e Event) bool {
	return func(e Event) bool { return strings.Contains(e.Advice, text) }
}

var autoShape = shapeNamed("auto", ShapeOptions{})

func TestAutoFindsTheLineAndThenReadsIt(t *testing.T) {
	scale := simulator.ScaleOptions{Shape: "letter-status", Baud: 2400, Frame: "7E1", Division: reading.Gram / 2}
	onSimulated(t, scale, autoShape, Options{}, func(ctx context.Context, bench *simulator.Bench, d *Driver) {
		until(t, d, isAdvice("is being identified"))
		c := *until(t, d, isFound).Found
		require.Equal(t, []any{2400, "7E1", "letter-status", reading.UnitG, false}, []any{c.Baud, c.Frame, c.Shape, c.Unit, c.DivisionSure})
		require.Equal(t, reading.UnitG, until(t, d, isReading).Reading.Value.Unit)
		require.NoError(t, bench.Do("cup", 0))
		require.NoError(t, bench.Do("tip", 0.5))
		c = *until(t, d, isFound).Found
		require.True(t, c.DivisionSure)
		require.Equal(t, "0.5 g", c.Division.String())
	})
}

// A pump that adds two divisions from line to line, or chance, shows even values only.
func TestADivisionThatWasFoundTooCoarseIsCorrected(t *testing.T) {
	a := auto{found: Candidate{Division: reading.Value{Digits: 1, Decimals: 1, Unit: reading.UnitG}}, steps: new(steps)}
	var found []string
	show := func(digits int64) {
		if c := a.follow(reading.Value{Digits: digits, Decimals: 1, Unit: reading.UnitG}); c != nil {
			require.True(t, c.DivisionSure)
			found = append(found, c.Division.String())
		}
	}
	for i := range int64(30) {
		show(2 * i)
	}
	require.Equal(t, []string{"0.2 g"}, found)
	show(61)
	require.Len(t, found, 1, "one line may be damaged")
	for i := range int64(30) {
		show(61 + i)
	}
	require.Equal(t, []string{"0.2 g", "0.1 g"}, found, "and each is told once")
}

func TestADivisionIsFoundInTheUnitThatTheScaleIsSetToByThen(t *testing.T) {
	a := auto{found: Candidate{Division: reading.Value{Digits: 1, Decimals: 1, Unit: reading.UnitG}}, steps: new(steps)}
	require.Nil(t, a.follow(reading.Value{Digits: 3, Decimals: 1, Unit: reading.UnitG}))
	var found *Candidate
	for i := range int64(40) {
		found = cmp.Or(a.follow(reading.Value{Digits: 5 * i, Decimals: 3, Unit: reading.UnitOZ}), found)
		a.follow(reading.Value{Digits: i / 2, Decimals: 2, Unit: reading.UnitOZ}) // while it moves its last digit is blank
	}
	require.NotNil(t, found)
	require.Equal(t, "0.005 oz", found.Division.String())
}

func TestOfAScaleThatWasFoundOutNobodyIsToldToCheckTheShape(t *testing.T) {
	h := health{auto: true, since: since{bytes: fewBytes}}
	require.Contains(t, h.advice(LinkSilent), "start the program again to have it identified anew")
}

func TestAutoAsksOnlyWhatTheEntryStates(t *testing.T) {
	scale := simulator.ScaleOptions{Shape: "status-comma", Baud: 4800, Frame: "7O1", OnRequest: []byte("Q\r\n")}
	onSimulated(t, scale, autoShape, Options{Request: []byte("Q\r\n")}, func(ctx context.Context, _ *simulator.Bench, d *Driver) {
		c := until(t, d, isFound).Found
		require.Equal(t, []any{4800, "7O1", "Q\r\n"}, []any{c.Baud, c.Frame, c.Request})
		until(t, d, isReading)
	})
	onSimulated(t, scale, autoShape, Options{}, func(ctx context.Context, _ *simulator.Bench, d *Driver) {
		until(t, d, isAdvice("Nothing came"))
	})
}

// heardFrom is a driver at a line without settings, on which lines come ten times a second, or which fails to open.
func heardFrom(t *testing.T, shape Shape, first string, fail error, test func(ctx context.Context, d *Driver, say func(line string))) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		link := &fakeLink{start: time.Now(), fail: fail}
		var line atomic.Pointer[string]
		line.Store(&first)
		var running sync.WaitGroup
		running.Go(func() {
			for ctx.Err() == nil {
				if far := link.scale(); far != nil {
					_ = far.SetWriteDeadline(time.Now().Add(50 * time.Millisecond))
					_, _ = far.Write([]byte(*line.Load()))
				}
				select {
				case <-time.After(100 * time.Millisecond):
				case <-ctx.Done():
				}
			}
		})
		d := Start(ctx, link, shape, Options{})
		test(ctx, d, func(text string) { line.Store(&text) })
		stop()
		for range d.Events() {
		}
		running.Wait()
	})
}

func TestAutoSaysWhyItIsNotSureAndTriesAgain(t *testing.T) {
	heardFrom(t, autoShape, "all is well\r\n", nil, func(ctx context.Context, d *Driver, say func(string)) {
		e := until(t, d, isAdvice("It is not found how the scale speaks"))
		require.Equal(t, LinkDown, e.Link)
		say("      0.0 g\r\n")
		until(t, d, isAdvice("It is not sure how the scale speaks. What came reads alike as trailing-flag and as bare"))
		say("      0.0 g ?\r\n")
		require.Equal(t, "trailing-flag", until(t, d, isFound).Found.Shape)
		require.Equal(t, reading.Moving, until(t, d, isReading).Reading.Motion)
	})
}

// What to do stays to be read while the scale is listened to again, and nothing is told twice.
func TestAutoDoesNotFlicker(t *testing.T) {
	for _, tt := range []struct {
		name string
		fail error
		line string
		want []string
	}{
		{"a port that is not there", os.ErrNotExist, "", []string{`open "fake": file does not exist`}},
		{"lines that leave it open", nil, "      0.0 g\r\n", []string{"is being identified", "put something on the pan slowly"}},
		{"a unit that nobody states", nil, "0.0\r\n", []string{"is being identified", "state no unit"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			heardFrom(t, autoShape, tt.line, tt.fail, func(ctx context.Context, d *Driver, _ func(string)) {
				time.Sleep(2 * time.Minute)
				require.Len(t, d.Events(), len(tt.want))
				for _, want := range tt.want {
					require.Contains(t, (<-d.Events()).Advice, want)
				}
			})
		})
	}
}

func TestAutoNeedsAUnitThatNoLineStates(t *testing.T) {
	heardFrom(t, autoShape, "=54.3210\r\n", nil, func(ctx context.Context, d *Driver, _ func(string)) {
		until(t, d, isAdvice("are reversed and state no unit"))
	})
	heardFrom(t, shapeNamed("auto", ShapeOptions{Unit: reading.UnitKG}), "=54.3210\r\n", nil, func(ctx context.Context, d *Driver, _ func(string)) {
		require.Equal(t, "123.45 kg", until(t, d, isReading).Reading.Value.String())
	})
}

func TestADriverIdentifiesOnItsOwnLinkAndGoesOn(t *testing.T) {
	heardFrom(t, statusCommaShape, "ST,GS,+00012.3  g\r\n", nil, func(ctx context.Context, d *Driver, say func(string)) {
		until(t, d, isReading)
		type result struct {
			id  Identification
			err error
		}
		done := make(chan result, 1)
		go func() {
			id, err := d.Identify(ctx, IdentifyOptions{})
			done <- result{id, err}
		}()
		e := until(t, d, isAdvice("is being identified"))
		require.Equal(t, LinkDown, e.Link)
		r := <-done
		require.NoError(t, r.err)
		require.True(t, r.id.Sure)
		require.Equal(t, "status-comma", r.id.Candidates[0].Shape)
		require.Empty(t, r.id.Candidates[0].Frame, "the line has no settings")
		until(t, d, isReading)
		require.Zero(t, d.Stats().Reconnects, "the port was left, not lost")

		say("")
		until(t, d, func(e Event) bool { return e.Link == LinkSilent })
		id, err := d.Identify(ctx, IdentifyOptions{})
		require.NoError(t, err, "a Read without a deadline was woken")
		require.Empty(t, id.Candidates)

		given, cancel := context.WithCancel(ctx)
		cancel()
		_, err = d.Identify(given, IdentifyOptions{})
		require.ErrorIs(t, err, context.Canceled)
	})
}

func TestADriverThatHasEndedIdentifiesNothing(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		b.stop()
		for range b.Events() {
		}
		_, err := b.Identify(context.Background(), IdentifyOptions{})
		require.Error(t, err)
	})
}

func TestAPortThatCanNotBeOpenedIsTheIdentificationsError(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, err := Identify(t.Context(), &fakeLink{fail: os.ErrPermission, start: time.Now()}, IdentifyOptions{})
		known, ok := errors.AsType[*LinkError](err)
		require.True(t, ok, "%v", err)
		require.Equal(t, "fake", known.Device)
	})
}

// What was asked and answered is in the candidate; a scale that says nothing is asked only if that is wanted.
func TestAScaleIsAskedOnlyIfThatIsWanted(t *testing.T) {
	for _, request := range usual {
		t.Run(strings.TrimSpace(request), func(t *testing.T) {
			opt := simulator.Options{Seed: 3, Scale: simulator.ScaleOptions{Shape: "stx-words", Baud: 19200, Frame: "7E1", OnRequest: []byte(request)}}
			id := identifyAt(t, opt, nil, IdentifyOptions{Ask: true})
			require.True(t, id.Sure, "%+v", id)
			c := id.Candidates[0]
			require.Equal(t, []any{19200, "7E1", "stx-words", request, 0.0}, []any{c.Baud, c.Frame, c.Shape, c.Request, c.RateHz})
			silent := identifyAt(t, opt, nil, IdentifyOptions{})
			require.Empty(t, silent.Candidates)
			require.Contains(t, silent.Advice, "Nothing came")
		})
	}
}

// Two lines are no proof, and that they are of no known shape would be untrue.
func TestTooFewLinesAreSaidToBeTooFew(t *testing.T) {
	file := filepath.Join(t.TempDir(), "scale.log")
	for _, text := range []string{"0.000 \"S S       1.2 g\\r\\n\"\n", "0.000 \"\\nS S       1.2 g\\r\\nS S       1.2 g\\r\\n\"\n5.000 \"S S       1.2 g\"\n"} {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		link, err := ParseLink("replay:" + file + "?speed=100")
		require.NoError(t, err)
		id, err := Identify(t.Context(), link, IdentifyOptions{})
		require.NoError(t, err)
		require.Empty(t, id.Candidates, "%+v", id)
		require.Contains(t, id.Advice, "Too little came")
	}
}

// A recording is identified on without being used up, and what comes meanwhile goes into a recording around it.
func TestARecordingIsStillToBePlayedAfterItsIdentification(t *testing.T) {
	file := filepath.Join(t.TempDir(), "scale.log")
	var log strings.Builder
	for _, at := range []string{"0.000", "0.100", "0.200", "0.300", "0.400"} {
		log.WriteString(at + ` "ST,GS,+00012.3  g\r\n"` + "\n")
	}
	require.NoError(t, os.WriteFile(file, []byte(log.String()), 0o600))
	link, err := ParseLink("replay:" + file + "?speed=100")
	require.NoError(t, err)
	var written strings.Builder
	r := Record(link, &written, statusCommaShape, nil)
	id, err := Identify(t.Context(), r, IdentifyOptions{})
	require.NoError(t, err)
	require.True(t, id.Sure, "%+v", id)
	require.Equal(t, "status-comma", id.Candidates[0].Shape)
	port, err := link.Open(t.Context())
	require.NoError(t, err)
	require.NoError(t, port.Close())
	require.NoError(t, r.Close())
	require.Contains(t, written.String(), "00012.3")
}

func TestWhatALinksTextStatesIsNotTriedAnew(t *testing.T) {
	for _, tt := range []struct {
		name, link string
		bauds      []int
		frames     []string
	}{
		{"a path alone leaves all open", "serial:/dev/ttyUSB0", tryBauds, []string{"8N1", "7E1", "7O1"}},
		{"a baud", "serial:/dev/ttyUSB0?baud=4800", []int{4800}, []string{"8N1", "7E1", "7O1"}},
		{"a frame", "serial:/dev/ttyUSB0?frame=8N2&flow=xonxoff", tryBauds, []string{"8N2"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			link, err := ParseLink(tt.link)
			require.NoError(t, err)
			bauds, frames := link.(tuner).tunings()
			require.Equal(t, tt.bauds, bauds)
			require.Equal(t, tt.frames, frames)
			for _, s := range settingsOf(link) {
				l := s.link.(*serialLink)
				require.Equal(t, s.baud, l.mode.BaudRate)
				require.Equal(t, link.(*serialLink).flow, l.flow)
			}
		})
	}
	require.ElementsMatch(t, bauds, tryBauds)
}

func TestAnEntryHasWhatWasFoundAndNothingElse(t *testing.T) {
	gram := reading.Value{Digits: 1, Decimals: 1, Unit: reading.UnitG}
	for _, tt := range []struct {
		name, link, want string
		c                Candidate
	}{
		{"all is known", "serial:/dev/ttyUSB0", `      - id: small
        link: serial:/dev/ttyUSB0?baud=2400&frame=7E1
        shape: status-comma
        division: 0.1 g
`, Candidate{Baud: 2400, Frame: "7E1", Shape: "status-comma", Unit: reading.UnitG, UnitStated: true, Division: gram, DivisionSure: true}},
		{"settings give way, others stay", "serial:/dev/ttyUSB0?baud=9600&dtr=off&frame=8N1", `      - id: small
        link: serial:/dev/ttyUSB0?baud=2400&frame=7E1&dtr=off
        shape: bare
        request: "\x05\r\n"
        unit: g
        division: 0.1 g   # at least: the last digit of the display; its step may be coarser, see the scale's plate
`, Candidate{Baud: 2400, Frame: "7E1", Shape: "bare", Request: "\x05\r\n", Unit: reading.UnitG, Division: gram}},
		{"no unit", "tcp://192.0.2.7:4001", `      - id: small
        link: tcp://192.0.2.7:4001
        shape: reversed
        # unit: g   # the lines state none: write the one that the scale shows, without the # before it
        # division: 5 g
`, Candidate{Shape: "reversed", Division: reading.Value{Digits: 5}, DivisionSure: true}},
		{"no weight", "tcp://192.0.2.7:4001", `      - id: small
        link: tcp://192.0.2.7:4001
        shape: status-comma
        # division: 0.1 g   # no weight was seen: write the step of the display, without the # before it
`, Candidate{Shape: "status-comma"}},
	} {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, tt.c.Entry("small", tt.link)) })
	}
}
