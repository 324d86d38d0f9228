package station

import (
	"context"
	"math"
	"strings"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/chem"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

// Record is a batch as it is kept: every field of the snapshot's batch, and where it came from.
type Record struct {
	batch.View
	Station  string              `json:"station"`
	Operator string              `json:"operator"`
	Lots     map[string][]string `json:"lots"`
	Practice bool                `json:"practice"`
	Amount   *plan.Amount        `json:"amount"`                // as it was asked for; nil where it was recorded before that was kept
	BPer100A *float64            `json:"b_per_100_a,omitempty"` // as it was chosen; nil: the card's ratio
	Again    *batch.Again        `json:"again"`                 // the batch that it was started like; nil: none
	Created  time.Time           `json:"created"`
	Weighed  *time.Time          `json:"weighed"`
	Finished *time.Time          `json:"finished"`
	Index    *float64            `json:"index_pct"` // of what was poured; nil until both parts are in, and for a card without equivalents
	Plan     plan.Plan           `json:"plan"`
	Scales   []ScaleUsed         `json:"scales"`
	Events   []ledger.Entry      `json:"events"`
}

// ScaleUsed is a scale that the batch was weighed on, by its configuration then. A zero is not stated.
type ScaleUsed struct {
	ID            string       `json:"id"`
	Division      reading.Mass `json:"division_g"`
	Capacity      reading.Mass `json:"capacity_g,omitempty"`
	Repeatability reading.Mass `json:"repeatability_g,omitempty"`
	Linearity     reading.Mass `json:"linearity_g,omitempty"`
	GainU         float64      `json:"gain_u,omitempty"` // relative standard uncertainty of its gain
}

// Record of a batch: live where it is on this station's scale, else by what the ledger holds.
func (s *Station) Record(ctx context.Context, id string) (Record, error) {
	entries, err := s.cfg.Ledger.Entries(ctx, id)
	if err != nil {
		return Record{}, err
	}
	state, saving := replay(entries), false
	if err := s.inLoop(ctx, func() {
		if s.state.Start != nil && s.state.Start.ID == id {
			state, saving = s.state, s.saving(time.Now())
		}
	}); err != nil {
		return Record{}, err
	}
	return record(state, saving, entries), nil
}

// ReadRecord is a batch as the ledger alone holds it. An unknown one is ledger.ErrNotFound.
func ReadRecord(ctx context.Context, r *ledger.Reader, id string) (Record, error) {
	entries, err := r.Entries(ctx, id)
	if err != nil {
		return Record{}, err
	}
	return record(replay(entries), false, entries), nil
}

func record(state batch.State, saving bool, entries []ledger.Entry) Record {
	start := state.Start
	r := Record{
		View: state.View(saving), Station: start.Station, Operator: start.Operator, Lots: start.Lots, Practice: start.Practice,
		Amount: start.Amount, BPer100A: start.BPer100A, Again: start.Again,
		Created: start.At, Plan: start.Plan, Scales: []ScaleUsed{ScaleUsed(*start.Plan.Scale)}, Events: entries,
	}
	if r.Lots == nil {
		r.Lots = map[string][]string{}
	}
	if !state.Weighed.IsZero() {
		r.Weighed, r.Index = &state.Weighed, index(start.Card.Equivalents, start.Plan.Doses, r.Parts)
	}
	if !state.Ended.At.IsZero() {
		r.Finished = &state.Ended.At
	}
	return r
}

// index of what was poured, in percent with 3 decimals; nil where the card has no equivalents. An addition counts as it does
// in the ratio.
func index(eq *material.Equivalents, doses []plan.Dose, parts []batch.PartView) *float64 {
	if eq == nil {
		return nil
	}
	system := chem.System{EqA: eq.A.Float(), EqB: eq.B.Float(), IndexOf: strings.ToUpper(eq.IndexOf())[0]}
	poured := map[string]reading.Mass{}
	for _, p := range parts {
		poured[p.Part.Part] = p.Poured
	}
	a, b := poured["A"], poured["B"]
	for _, d := range doses {
		a += reading.Mass(d.CountsA * float64(poured[d.ID]))
		b += reading.Mass(d.CountsB * float64(poured[d.ID]))
	}
	pct, err := system.Index(a, b)
	if err != nil {
		return nil
	}
	pct = math.Round(pct*1000) / 1000
	return &pct
}

func replay(entries []ledger.Entry) batch.State { return batch.Replay(factsOf(entries)) }
