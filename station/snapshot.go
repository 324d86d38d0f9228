package station

import (
	"errors"
	"fmt"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/pour"
)

// Snapshot is a station at one instant, as the live view shows it.
type Snapshot struct {
	Station string      `json:"station"`
	Seq     uint64      `json:"seq"`
	At      time.Time   `json:"at"`
	Scale   ScaleView   `json:"scale"`
	Scales  []ScaleLink `json:"scales"`
	Batch   *batch.View `json:"batch"`
	Clocks  []Clock     `json:"clocks"`
	Ledger  *string     `json:"ledger"` // why nothing can be recorded just now, and what to do; nil while it can

	Read     time.Time `json:"-"` // arrival of the newest reading
	Identity string    `json:"-"` // alike in two snapshots where only values moved between them
}

// ScaleView is the scale in use. Value is nil and Stable false unless the link is up and the state normal.
type ScaleView struct {
	ID       string        `json:"id"`
	Link     string        `json:"link"`
	Shown    *string       `json:"shown"`
	Value    *reading.Mass `json:"value_g"`
	Stable   bool          `json:"stable"`
	State    string        `json:"state"`
	AgeMS    *int64        `json:"age_ms"`
	Division reading.Mass  `json:"division_g"`
	Advice   *string       `json:"advice"`
}

// ScaleLink is one scale of the station.
type ScaleLink struct {
	ID   string `json:"id"`
	Link string `json:"link"`
}

// Clock is something that runs for a batch of the station.
type Clock struct {
	Batch string     `json:"batch"`
	Kind  string     `json:"kind"`
	Ends  *time.Time `json:"ends"`
	State string     `json:"state"` // running, over
}

// identity is what an action can be meant for: a new reading, estimate or cue alone is no change.
type identity struct {
	batch, phase, part, question string
	cup                          int
}

func (s *Station) snapshot(now time.Time) Snapshot {
	s.seq++
	snap := Snapshot{
		Station: s.cfg.ID, Seq: s.seq, At: now.UTC().Truncate(time.Millisecond), Scale: s.scaleView(now), Clocks: []Clock{},
		Read: s.scale.last.At,
	}
	if s.unwritable != nil {
		snap.Ledger = new(unrecorded(s.unwritable))
	}
	snap.Scales = []ScaleLink{{ID: snap.Scale.ID, Link: snap.Scale.Link}}
	var id identity
	cue := pour.Cue("")
	if s.state.Start != nil {
		view := s.state.View(s.saving(now))
		if s.state.OnScale() && s.scale.link != scaledrv.LinkUp {
			view.Recue(pour.CueReconnect)
		} else if s.state.OnScale() && s.scale.now != reading.Normal {
			view.Recue(pour.CueHold) // there is no weight to pour by
		}
		snap.Batch, cue = &view, view.Cue
		id = identity{batch: view.ID, phase: string(view.Phase), cup: view.CupNo}
		if view.Part != nil {
			id.part = *view.Part
		}
		if view.Question != nil {
			id.question = view.Question.Ask
		}
		snap.Clocks = clocks(&s.state, view, now)
	}
	if id != s.identity {
		s.identity, s.changed = id, s.seq
	}
	snap.Identity = fmt.Sprint(id, cue, snap.Scale.Link, s.unwritable != nil)
	return snap
}

// unrecorded says what a person can do about a ledger that takes nothing.
func unrecorded(err error) string {
	why := "see the daemon's log"
	for _, known := range []error{ledger.ErrFull, ledger.ErrReadOnly} {
		if errors.Is(err, known) {
			why = known.Error()
		}
	}
	return "Nothing can be recorded: " + why + ". What is poured now is recorded once it can be; no new batch starts before"
}

func (s *Station) scaleView(now time.Time) ScaleView {
	v := ScaleView{
		ID: s.cfg.Scale.ID, Link: s.scale.link.String(), State: s.scale.now.String(),
		Division: max(s.state.Pan.Division, s.Scale().Division), Advice: s.advice(),
	}
	if !s.scale.any {
		return v
	}
	shown, age := s.scale.last.Value.String(), now.Sub(s.scale.last.At).Milliseconds()
	v.Shown, v.AgeMS = &shown, &age
	if s.scale.link == scaledrv.LinkUp && s.scale.now == reading.Normal {
		value := s.scale.last.Mass // a snapshot is read by others: nothing in it is the loop's own
		v.Value, v.Stable = &value, s.state.Pan.Settled(0)
	}
	return v
}

// advice says what is wrong with the scale and what to do, nil where nothing is.
func (s *Station) advice() *string {
	text := ""
	switch {
	case s.scale.advice != "":
		text = s.scale.advice
	case s.scale.now == reading.Over:
		text = "The load is above the scale's range: take something off"
	case s.scale.now == reading.Under:
		text = "The scale reads below its range: put the pan on and zero the scale empty"
	case s.scale.now == reading.Fault:
		text = "The scale reports a fault of its own: see its manual"
	default:
		return nil
	}
	return &text
}

// clocks of the batch at the station. A card without a pot life has no such clock; one that is unknown counts as over.
func clocks(b *batch.State, v batch.View, now time.Time) []Clock {
	if v.PotLife.Started == nil || b.Start.Card.PotLife == nil {
		return []Clock{}
	}
	state := "running"
	if v.PotLife.Ends == nil || !now.Before(*v.PotLife.Ends) {
		state = "over"
	}
	return []Clock{{Batch: v.ID, Kind: "pot_life", Ends: v.PotLife.Ends, State: state}}
}
