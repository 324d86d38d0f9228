package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
)

// maxRecent is how many batches may be held in memory so that their events need not be read for the next one.
const maxRecent = 32

// Summary is what a list shows of a batch. Its fields are the record's, with the same names.
type Summary struct {
	ID       string              `json:"id"`
	Station  string              `json:"station"`
	Material string              `json:"material"`
	Revision int                 `json:"revision"` // of the card
	Operator string              `json:"operator"`
	Lots     map[string][]string `json:"lots"`
	Practice bool                `json:"practice"`
	Created  time.Time           `json:"created"`
	Weighed  *time.Time          `json:"weighed"`  // nil until the last part is accepted
	Finished *time.Time          `json:"finished"` // nil until the batch has ended
	Phase    batch.Phase         `json:"phase"`    // as the events alone tell it
	Parts    []Part              `json:"parts"`
	Error    *float64            `json:"ratio_error_pct"`
	U        *float64            `json:"uncertainty_pct"`
	Verdict  *string             `json:"verdict"`
	Doubt    *string             `json:"doubt"` // why nobody can say what is in the cup
}

// Part is one part of a batch with what was poured of it, to the microgram as in all JSON; the events hold it exactly.
type Part struct {
	Part     string       `json:"part"`
	Target   reading.Mass `json:"target_g"`
	Poured   reading.Mass `json:"poured_g"`
	Accepted bool         `json:"accepted"`
}

func summarize(s *batch.State) Summary {
	start, v := s.Start, s.View(false)
	sum := Summary{
		ID: start.ID, Station: start.Station, Material: start.Plan.Material, Revision: start.Card.Revision, Operator: start.Operator,
		Lots: start.Lots, Practice: start.Practice, Created: start.At, Phase: v.Phase, Error: v.Error, U: v.U, Doubt: v.Doubt,
	}
	if verdict := string(s.Verdict); verdict != "" {
		sum.Verdict = &verdict
	}
	if sum.Lots == nil {
		sum.Lots = map[string][]string{}
	}
	if !s.Weighed.IsZero() {
		sum.Weighed = &s.Weighed
	}
	if !s.Ended.At.IsZero() {
		sum.Finished = &s.Ended.At
	}
	for _, p := range v.Parts {
		sum.Parts = append(sum.Parts, Part{Part: p.Part.Part, Target: p.Target, Poured: p.Poured, Accepted: p.Accepted})
	}
	return sum
}

// row is a batch in the table that lists are searched by. It holds nothing that its events don't.
type row struct{ id, station, material, created, verdict, weighed, finished, summary string }

// standing is a batch as its events give it, and its row as it was last derived.
type standing struct {
	state batch.State
	row   row
}

// stand reads a batch's events. A batch without any is ErrNotFound.
func stand(ctx context.Context, db asker, id string) (now standing, err error) {
	rows, err := db.QueryContext(ctx, "SELECT seq, kind, body FROM events WHERE batch = ? ORDER BY seq", id)
	if err != nil {
		return now, err
	}
	defer rows.Close()
	for rows.Next() {
		var seq int64
		var kind string
		var body []byte
		if err := rows.Scan(&seq, &kind, &body); err != nil {
			return now, err
		}
		if err := now.take(kind, body); err != nil {
			return now, fmt.Errorf("batch %s, event %d: %w", id, seq, err)
		}
	}
	if err := rows.Err(); err != nil {
		return now, err
	}
	if now.state.Start == nil {
		return now, fmt.Errorf("batch %q: %w", id, ErrNotFound)
	}
	now.row, err = derive(&now.state)
	return now, err
}

// take advances the state by a fact in the form in which it is stored, so that what is derived is what a replay gives.
// Facts that don't follow from each other are an error: a file that was tampered with may hold some.
func (s *standing) take(kind string, body []byte) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a fact of kind %q does not follow from the facts before it: %v", kind, p)
		}
	}()
	f, err := batch.DecodeFact(kind, body)
	if err != nil {
		return err
	}
	if _, begins := f.(batch.Started); begins == (s.state.Start != nil) {
		return errors.New("a batch starts once, with its first fact")
	}
	s.state, _, err = batch.Step(s.state, batch.Recorded{Fact: f})
	return err
}

// derive works out the row. Its verdict, weighed and finished are empty where there is none yet.
func derive(s *batch.State) (r row, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the facts don't make a batch: %v", p)
		}
	}()
	sum := summarize(s)
	text, err := json.Marshal(sum)
	if err != nil {
		return row{}, err
	}
	r = row{id: sum.ID, station: sum.Station, material: sum.Material, created: stamp(sum.Created), verdict: string(s.Verdict), summary: string(text)}
	if sum.Weighed != nil {
		r.weighed = stamp(*sum.Weighed)
	}
	if sum.Finished != nil {
		r.finished = stamp(*sum.Finished)
	}
	return r, nil
}

// store writes the row where it is not as before.
func (r row) store(ctx context.Context, tx *sql.Tx, before row) (err error) {
	switch before {
	case r:
	case row{}:
		_, err = tx.ExecContext(ctx, `INSERT INTO batches (id, station, material, created, verdict, weighed, finished, summary)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?)`, r.id, r.station, r.material, r.created, r.verdict, r.weighed, r.finished, r.summary)
	default:
		_, err = tx.ExecContext(ctx, "UPDATE batches SET verdict = ?, weighed = ?, finished = ?, summary = ? WHERE id = ?",
			r.verdict, r.weighed, r.finished, r.summary, r.id)
	}
	return err
}

// deriveAll makes the rows of all batches anew.
func deriveAll(ctx context.Context, tx *sql.Tx) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM batches"); err != nil {
		return err
	}
	for id := ""; ; {
		err := tx.QueryRowContext(ctx, "SELECT batch FROM events WHERE batch > ? ORDER BY batch LIMIT 1", id).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		now, err := stand(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := now.row.store(ctx, tx, row{}); err != nil {
			return err
		}
	}
}
