package station_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// panEvents are what a person may do at a scale between two parts, how long it takes, and why the reference moves then.
var panEvents = map[string]struct {
	do  func(*rig)
	why []string
}{
	"nothing": {func(*rig) {}, nil},
	"TARE":    {func(r *rig) { require.NoError(r.t, r.bench.Tare()) }, []string{"key"}},
	"the scale switched off and on": {func(r *rig) {
		r.bench.Power(false)
		time.Sleep(6 * time.Second)
		r.bench.Power(true)
	}, []string{"tared"}},
	"the unit key": {func(r *rig) { require.NoError(r.t, r.bench.Unit("oz")) }, nil},
	"the cup lifted and set back": {func(r *rig) {
		require.NoError(r.t, r.bench.Do("lift", 0))
		time.Sleep(2 * time.Second)
		require.NoError(r.t, r.bench.Do("cup", 0))
		time.Sleep(3 * time.Second)
		require.NoError(r.t, r.bench.Do("auto", 0))
	}, []string{"cup_back"}},
}

// Whole pours on scales that speak in different ways, with something done at the scale before B. The simulated hand
// answers what it is asked by what was really done.
func TestPanEventsOnScalesThatSpeakInDifferentWays(t *testing.T) {
	scales := map[string]simulator.ScaleOptions{
		"status-comma": {}, "letter-status": {}, "trailing-flag": {}, "stx-words": {}, "bare": {}, "reversed": {},
		"unit-when-stable": {Division: reading.Gram / 100, Line: simulator.LineOptions{BlankLast: true, NoKind: true}},
	}
	for shape, scale := range scales {
		for name, happen := range panEvents {
			if name == "the unit key" && (shape == "bare" || shape == "reversed") {
				continue // their lines say no unit: nobody can see it
			}
			t.Run(shape+", "+name, func(t *testing.T) {
				dir := t.TempDir()
				synctest.Test(t, func(t *testing.T) {
					scale.Shape = shape
					r := newRig(t, dir, simulator.Options{Seed: 5, Scale: scale}, func(*rig, station.Snapshot) {})
					defer r.stop()
					record := weighOutWith(r, happen.do)
					var kinds []string
					for _, e := range record.Events {
						if f, ok := e.Fact.(batch.Referenced); ok {
							kinds = append(kinds, f.Why)
						}
					}
					want := happen.why
					if name == "TARE" && happen.why != nil && (shape == "letter-status" || shape == "bare" || shape == "reversed" || scale.Line.NoKind) {
						want = []string{"tared"}
					}
					require.Equal(t, want, kinds)
				})
			})
		}
	}
}

// weighOutWith has something happen once A is accepted and at rest.
func weighOutWith(r *rig, happen func(*rig)) (record station.Record) {
	ctx := context.Background()
	started, err := r.station.StartBatch(ctx, station.Order{Material: "harbour-clear", Amount: plan.Amount{TotalG: new(300 * reading.Gram)}})
	require.NoError(r.t, err)
	happened := false
	for range 3000 {
		time.Sleep(100 * time.Millisecond)
		synctest.Wait()
		snap, err := r.station.Snapshot(ctx)
		require.NoError(r.t, err)
		record, err := r.station.Record(ctx, started.ID)
		require.NoError(r.t, err)
		if record.Verdict != nil {
			require.True(r.t, happened)
			judge(r, record)
			return record
		}
		if v := snap.Batch; v != nil && v.Cue == pour.CueChangeOver && snap.Scale.Stable && !happened {
			happened = true
			happen(r)
		}
	}
	snap, _ := r.station.Snapshot(ctx)
	require.FailNow(r.t, "no verdict in five minutes", "%+v %+v", snap.Scale, snap.Batch)
	return record
}

func judge(r *rig, record station.Record) {
	a, b := r.bench.Truth()
	require.Nil(r.t, record.Doubt)
	require.Equal(r.t, metrology.Within, *record.Verdict)
	few := 3 * max(record.Plan.Scale.Division, reading.Gram/10)
	assert.InDelta(r.t, a.Grams(), record.Parts[0].Poured.Grams(), few.Grams())
	assert.InDelta(r.t, b.Grams(), record.Parts[1].Poured.Grams(), few.Grams())
}
