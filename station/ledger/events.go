package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"twocup/station/batch"
)

// Entry is one fact as it stands in the ledger.
type Entry struct {
	Seq  int64      `json:"seq"` // its place in the whole ledger
	At   time.Time  `json:"at"`
	Kind string     `json:"kind"`
	Fact batch.Fact `json:"fact"`
}

// Append makes facts of one batch durable, all or none. It does not end with ctx: a viewer who leaves must not undo
// what has happened; ctx carries values only.
func (l *Ledger) Append(ctx context.Context, id string, facts ...batch.Fact) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
	defer cancel()
	err := inTransaction(ctx, l.write, func(tx *sql.Tx) error {
		for _, f := range facts {
			if err := appendOne(ctx, tx, id, f); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("write to the ledger, batch %s: %w", id, err)
	}
	return nil
}

func appendOne(ctx context.Context, tx *sql.Tx, id string, f batch.Fact) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO events (batch, at, kind, body) VALUES (?, ?, ?, ?)",
		id, stamp(f.When()), f.Kind(), string(body)); err != nil {
		return err
	}
	switch f := f.(type) {
	case batch.Started:
		_, err = tx.ExecContext(ctx, "INSERT INTO batches (id, station, material, created) VALUES (?, ?, ?, ?)",
			id, f.Station, f.Plan.Material, stamp(f.At))
	case batch.Accepted:
		_, err = tx.ExecContext(ctx, "UPDATE batches SET verdict = ? WHERE id = ?", string(f.Verdict), id)
	case batch.Reopened:
		_, err = tx.ExecContext(ctx, "UPDATE batches SET verdict = '' WHERE id = ?", id)
	}
	return err
}

// Entries are all facts of one batch in their order. An unknown batch is ErrNotFound.
func (l *Ledger) Entries(ctx context.Context, id string) ([]Entry, error) {
	rows, err := l.read.QueryContext(ctx, "SELECT seq, kind, body FROM events WHERE batch = ? ORDER BY seq", id)
	if err != nil {
		return nil, fmt.Errorf("read batch %s: %w", id, err)
	}
	defer rows.Close()
	var list []Entry
	for rows.Next() {
		var e Entry
		var body []byte
		if err := rows.Scan(&e.Seq, &e.Kind, &body); err != nil {
			return nil, fmt.Errorf("read batch %s: %w", id, err)
		}
		if e.Fact, err = batch.DecodeFact(e.Kind, body); err != nil {
			return nil, fmt.Errorf("read batch %s, event %d: %w", id, e.Seq, err)
		}
		e.At = e.Fact.When()
		list = append(list, e)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read batch %s: %w", id, err)
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("batch %q: %w", id, ErrNotFound)
	}
	return list, nil
}

// Station is the id of the station that a batch was started at. An unknown batch is ErrNotFound.
func (l *Ledger) Station(ctx context.Context, id string) (station string, err error) {
	err = l.read.QueryRowContext(ctx, "SELECT station FROM batches WHERE id = ?", id).Scan(&station)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNotFound
	}
	if err != nil {
		return "", fmt.Errorf("batch %q: %w", id, err)
	}
	return station, nil
}

// Query says which batches are wanted; its zero value says all. All that is given must hold.
type Query struct {
	From, To time.Time // of creation, From included, To not
	Material string
	Verdict  string
	Cursor   string // the id after which a page goes on, as Batches gave it
	Limit    int    // 0 means 50
}

// Batches are the ids of the batches wanted, newest first, and the cursor of the next page, empty at the end. Ids sort
// by the time of their making.
func (l *Ledger) Batches(ctx context.Context, q Query) (ids []string, next string, err error) {
	limit := q.Limit
	if limit == 0 {
		limit = 50
	}
	where, args := "1 = 1", []any{}
	and := func(condition string, value string) {
		if value != "" {
			where, args = where+" AND "+condition, append(args, value)
		}
	}
	and("id < ?", q.Cursor)
	and("material = ?", q.Material)
	and("verdict = ?", q.Verdict)
	if !q.From.IsZero() {
		and("created >= ?", stamp(q.From))
	}
	if !q.To.IsZero() {
		and("created < ?", stamp(q.To))
	}
	rows, err := l.read.QueryContext(ctx, "SELECT id FROM batches WHERE "+where+" ORDER BY id DESC LIMIT ?", append(args, limit+1)...)
	if err != nil {
		return nil, "", fmt.Errorf("list batches: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, "", fmt.Errorf("list batches: %w", err)
		}
		ids = append(ids, id)
	}
	if err := rows.Err(); err != nil {
		return nil, "", fmt.Errorf("list batches: %w", err)
	}
	if len(ids) > limit {
		ids, next = ids[:limit], ids[limit-1]
	}
	return ids, next, nil
}
