package station

import (
	"encoding/json"
	"io/fs"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/pour"
)

// scaleNow is what the snapshot says of the scale, without what never changes.
type scaleNow struct {
	link, state, shown string
	value              any // grams, nil where there is none
	stable             bool
	ageMS              int64 // -1 where there is none
	advice             string
}

func (s *scripted) scaleNow() scaleNow {
	s.Helper()
	snap := s.now()
	v := snap.Scale
	require.Equal(s, "small", v.ID)
	require.Equal(s, reading.Gram/10, v.Division)
	require.Equal(s, []ScaleLink{{"small", v.Link}}, snap.Scales)
	n := scaleNow{link: v.Link, state: v.State, stable: v.Stable, ageMS: -1}
	if v.Shown != nil {
		n.shown = *v.Shown
	}
	if v.Value != nil {
		n.value = v.Value.Grams()
	}
	if v.AgeMS != nil {
		n.ageMS = *v.AgeMS
	}
	if v.Advice != nil {
		n.advice = *v.Advice
	}
	return n
}

const silentAdvice = "Nothing comes from the scale: see that it is switched on, that it sends by itself or has a request in its entry, and that its cable is in"

func TestTheScaleThroughAllThatCanHappenToIt(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		require.Equal(s, scaleNow{link: "down", state: "normal", ageMS: -1}, s.scaleNow(), "before the first line there is nothing to show")

		s.rest(152.3, 500*time.Millisecond)
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "152.3 g", value: 152.3}, s.scaleNow(), "moving")
		s.pass(40 * time.Millisecond)
		require.Equal(s, int64(40), s.scaleNow().ageMS, "its age is counted from its last byte")
		s.rest(152.3, time.Second)
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "152.3 g", value: 152.3, stable: true}, s.scaleNow())

		s.pass(2*time.Second - 1)
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "152.3 g", value: 152.3, stable: true, ageMS: 1999}, s.scaleNow(), "just not stale")
		s.pass(1)
		require.Equal(s, scaleNow{link: "silent", state: "normal", shown: "152.3 g", ageMS: 2000, advice: silentAdvice}, s.scaleNow())
		s.pass(time.Minute)
		require.Equal(s, int64(62000), s.scaleNow().ageMS)

		s.line("ST", 152.3)
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "152.3 g", value: 152.3}, s.scaleNow(), "one line after a silence is not yet stable")
		s.rest(152.3, 600*time.Millisecond)
		require.True(s, s.scaleNow().stable)

		s.link.unplug(&fs.PathError{Op: "open", Path: "scripted", Err: syscall.ENOENT})
		s.pass(0)
		lost := s.scaleNow()
		require.Equal(s, `read "scripted": EOF (hung up or unplugged: check the adapter and its cable)`, lost.advice)
		lost.advice = ""
		require.Equal(s, scaleNow{link: "down", state: "normal", shown: "152.3 g", ageMS: 0}, lost, "lost at the first failed read")
		s.pass(time.Second)
		require.Equal(s, `open "scripted": no such file or directory (plug the adapter in, or correct the path)`, s.scaleNow().advice)
		require.Equal(s, int64(1000), s.scaleNow().ageMS)

		s.link.plug()
		s.pass(time.Second)
		require.Equal(s, "down", s.scaleNow().link, "open, and nothing has come yet")
		for range 3 { // the first may be cut, the second waits for its like
			s.line("ST", -0.1)
		}
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "-0.1 g", value: -0.1}, s.scaleNow())

		s.rest(-0.1, time.Second)
		require.True(s, s.scaleNow().stable)
		s.link.unplug(nil)
		s.link.plug()
		s.pass(200 * time.Millisecond)
		for range 3 {
			s.line("ST", -0.1)
		}
		require.Equal(s, scaleNow{link: "up", state: "normal", shown: "-0.1 g", value: -0.1}, s.scaleNow(), "one line after a loss, however short, is not yet stable")
	})
}

func TestTheScaleOutOfItsRange(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.rest(0, time.Second)
		for status, want := range map[string]scaleNow{
			"OL": {state: "over", advice: "The load is above the scale's range: take something off"},
			"UL": {state: "under", advice: "The scale reads below its range: put the pan on and zero the scale empty"},
		} {
			s.rest(1234.5, time.Second)
			require.True(s, s.scaleNow().stable)
			s.line(status, 9999.9)
			s.line(status, 9999.9)
			want.link, want.shown, want.ageMS = "up", "1234.5 g", 200
			require.Equal(s, want, s.scaleNow(), "the last good value keeps its true age")
			s.line("ST", 1234.5)
			require.Equal(s, scaleNow{link: "up", state: "normal", shown: "1234.5 g", value: 1234.5}, s.scaleNow(), "one line is not yet stable")
		}
	})
}

func TestAScaleOutOfItsRangeFromTheStartHasNothingToShow(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.line("OL", 0)
		s.line("OL", 0)
		require.Equal(s, scaleNow{link: "up", state: "over", ageMS: -1, advice: "The load is above the scale's range: take something off"}, s.scaleNow())
	})
}

// A value that waited in the driver is as old as it is: the age runs from its last byte, not from when it is shown.
func TestAStationThatFallsBehindDoesNotMakeItsValuesYounger(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.rest(10, time.Second)
		defer s.watch()()
		made := s.now().Seq
		busy := s.ask(func() error { return s.inLoop(s.Context(), func() { time.Sleep(time.Second) }) })
		s.send("ST,GS,+00010.0  g\r\n")
		s.pass(time.Second)
		require.NoError(s, busy.err(s))
		fresh := 0
		for _, snap := range s.watched {
			if snap.Seq > made && *snap.Scale.AgeMS == 1000 {
				fresh++
			}
			require.True(s, snap.Seq <= made || snap.At.Equal(time.Now()), "made at %v", snap.At)
		}
		require.NotZero(s, fresh)
	})
}

func TestReconnectIsShownWithTheLostLinkAndGoesByItself(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.cup()
		s.pour(150, 5*time.Second)
		stop := s.watch()
		wentSilent := time.Now().Add(2 * time.Second)
		s.pass(3 * time.Second)
		s.line("US", 150)
		s.line("US", 152)
		s.pass(30 * time.Millisecond)
		wentDown := time.Now()
		s.link.unplug(nil)
		s.link.plug()
		s.pass(3 * time.Second)
		for range 3 {
			s.line("US", 154)
		}
		stop()
		links := map[string]time.Time{} // when each was first shown
		for _, snap := range s.watched {
			if links[snap.Scale.Link].IsZero() {
				links[snap.Scale.Link] = snap.At
			}
			require.Equal(s, snap.Scale.Link != "up", snap.Batch.Cue == pour.CueReconnect, "link %s, cue %s", snap.Scale.Link, snap.Batch.Cue)
			require.Equal(s, batch.PhasePour, snap.Batch.Phase)
			require.Equal(s, snap.Scale.Link, snap.Scales[0].Link)
		}
		require.Equal(s, wentSilent.UTC(), links["silent"], "shown at once")
		require.Equal(s, wentDown.UTC(), links["down"], "shown at once")
		require.Equal(s, pour.CuePour, s.batchNow().Cue)
		require.Equal(s, 104*reading.Gram, *s.batchNow().Poured)
	})
}

func TestWithoutAWeightTheHandIsHeld(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.cup()
		s.pour(100, 5*time.Second)
		require.Equal(s, pour.CuePour, s.batchNow().Cue)
		s.line("OL", 0)
		require.Equal(s, pour.CueHold, s.batchNow().Cue)
		require.Equal(s, 50*reading.Gram, *s.batchNow().Poured, "what is known stays")
		s.line("US", 100)
		require.Equal(s, pour.CuePour, s.batchNow().Cue)
	})
}

func TestABatchThatIsWeighedNeedsNoScale(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.cup()
		s.partA()
		s.partB()
		s.line("OL", 0)
		require.Equal(s, "over", s.now().Scale.State)
		require.Equal(s, pour.CueDone, s.batchNow().Cue)
		s.pass(3 * time.Second)
		require.Equal(s, "silent", s.now().Scale.Link)
		require.Equal(s, pour.CueDone, s.batchNow().Cue)
	})
}

func TestASnapshotIsMadeEachSecondThoughNothingIsNew(t *testing.T) {
	for _, offset := range []time.Duration{0, 10 * time.Millisecond, 99 * time.Millisecond} {
		onBench(t, takes(0), func(s *scripted) {
			snapshots, stop, err := s.Watch(s.Context())
			require.NoError(s, err)
			defer stop()
			s.pass(offset)
			s.rest(0, time.Second)
			<-snapshots
			shown, seq, turned := time.Now(), uint64(0), false
			for range 20 {
				snap := <-snapshots
				require.LessOrEqual(s, time.Since(shown), time.Second)
				if snap.Scale.Link == "silent" && seq > 0 && !turned {
					turned = true // at once, whenever the last one was
				} else {
					require.GreaterOrEqual(s, time.Since(shown), 900*time.Millisecond, "and not more often")
				}
				require.Equal(s, time.Now().UTC().Truncate(time.Millisecond), snap.At)
				require.Greater(s, snap.Seq, seq)
				shown, seq = time.Now(), snap.Seq
			}
		})
	}
}

func TestSeqGrowsStrictlyWhoeverAsks(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		stop := s.watch()
		var seqs []uint64
		for range 20 {
			s.line("ST", 0)
			seqs = append(seqs, s.now().Seq, s.now().Seq)
		}
		stop()
		for i := 1; i < len(seqs); i++ {
			require.Greater(s, seqs[i], seqs[i-1])
		}
		for i, snap := range s.watched {
			require.True(s, i == 0 || snap.Seq > s.watched[i-1].Seq)
			require.NotContains(s, seqs, snap.Seq)
		}
	})
}

func TestASnapshotsIdentityChangesWithWhatIsToBeDoneAndNotWithTheValue(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.cup()
		stop := s.watch()
		s.pour(100, 5*time.Second)
		stop()
		for _, snap := range s.watched {
			require.Equal(s, s.watched[0].Identity, snap.Identity)
		}
		before := s.now().Identity
		s.pass(2 * time.Second)
		require.NotEqual(s, before, s.now().Identity, "the link is another")
		s.rest(100, 500*time.Millisecond) // a pause in the pour, too short to be one below the window
		require.Equal(s, before, s.now().Identity)
		s.pour(250, 15*time.Second)
		require.NotEqual(s, before, s.now().Identity, "the cue is another")
	})
}

func TestASnapshotsIdentityChangesWithTheLinkAlone(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.rest(0, time.Second)
		up := s.now().Identity
		s.pass(2 * time.Second)
		require.NotEqual(s, up, s.now().Identity)
	})
}

func TestClocks(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.partA()
		require.Equal(s, []Clock{}, s.now().Clocks)
		s.partB()
		snap := s.now()
		require.Len(s, snap.Clocks, 1)
		ends := snap.Batch.PotLife.Started.Add(20 * time.Minute) // the card's pot life
		require.Equal(s, Clock{Batch: id, Kind: "pot_life", Ends: &ends, State: "running"}, snap.Clocks[0])
		s.pass(time.Until(ends) - 1)
		require.Equal(s, "running", s.now().Clocks[0].State)
		s.pass(1)
		require.Equal(s, "over", s.now().Clocks[0].State)
	})
}

func TestTheSnapshotsNamesAreTheContracts(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.pass(1999 * time.Microsecond)
		text, err := json.Marshal(s.now())
		require.NoError(s, err)
		require.JSONEq(s, `{"station":"bench-1","seq":1,"at":"`+time.Now().UTC().Format("2006-01-02T15:04:05")+`.001Z",
			"scale":{"id":"small","link":"down","shown":null,"value_g":null,"stable":false,"state":"normal","age_ms":null,"division_g":0.1,"advice":null},
			"scales":[{"id":"small","link":"down"}],"batch":null,"clocks":[],"ledger":null}`, string(text))
	})
}
