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
// what has happened; ctx carries values only. The error is ErrFull or ErrReadOnly where that is the reason, and
// ErrNotFound where the batch was not started; what was written before stays, and Append can be tried again.
func (l *Ledger) Append(ctx context.Context, id string, facts ...batch.Fact) error {
	if len(facts) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
	defer cancel()
	l.appending.Lock()
	defer l.appending.Unlock()
	next := l.recent[id]
	err := inTransaction(ctx, l.write, func(tx *sql.Tx) (err error) {
		next, err = appendAll(ctx, tx, id, next, facts)
		return err
	})
	if err != nil {
		delete(l.recent, id)
		return fmt.Errorf("write to the ledger, batch %s: %w", id, l.reason(err))
	}
	if len(l.recent) >= maxRecent {
		clear(l.recent)
	}
	l.recent[id] = next
	return nil
}

// appendAll appends facts to a batch that stands at now, and gives where it stands then. One that is not in memory is
// read from the file.
func appendAll(ctx context.Context, tx *sql.Tx, id string, now standing, facts []batch.Fact) (standing, error) {
	h, err := readHead(ctx, tx)
	if err != nil {
		return now, err
	}
	if _, begins := facts[0].(batch.Started); !begins && now.state.Start == nil {
		if now, err = stand(ctx, tx, id); err != nil {
			return now, err
		}
	}
	before := now.row
	for _, f := range facts {
		body, err := json.Marshal(f)
		if err != nil {
			return now, err
		}
		if err := h.insert(ctx, tx, link{batch: id, at: stamp(f.When()), kind: f.Kind(), body: string(body)}); err != nil {
			return now, err
		}
		if err := now.take(f.Kind(), body); err != nil {
			return now, err
		}
	}
	if now.row, err = derive(&now.state); err != nil {
		return now, err
	}
	return now, now.row.store(ctx, tx, before)
}

// Entries are all facts of one batch in their order. An unknown batch is ErrNotFound.
func (r *Reader) Entries(ctx context.Context, id string) ([]Entry, error) {
	rows, err := r.read.QueryContext(ctx, "SELECT seq, kind, body FROM events WHERE batch = ? ORDER BY seq", id)
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

// LastAt is the latest instant that the newest events state; zero in a ledger without events. A clock that stands
// before it can't be trusted. A few of the newest are looked at, because a fact may state when something began, and
// because a clock that was once ahead must not count for ever.
func (r *Reader) LastAt(ctx context.Context) (time.Time, error) {
	var text sql.NullString
	err := r.read.QueryRowContext(ctx, "SELECT max(at) FROM (SELECT at FROM events ORDER BY seq DESC LIMIT 20)").Scan(&text)
	if err == nil && text.Valid {
		var at time.Time
		if at, err = time.Parse(time.RFC3339Nano, text.String); err == nil {
			return at, nil
		}
	}
	if err != nil {
		return time.Time{}, fmt.Errorf("read the time of the last event: %w", err)
	}
	return time.Time{}, nil
}

// Station is the id of the station that a batch was started at. An unknown batch is ErrNotFound.
func (r *Reader) Station(ctx context.Context, id string) (station string, err error) {
	err = r.read.QueryRowContext(ctx, "SELECT station FROM batches WHERE id = ?", id).Scan(&station)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNotFound
	}
	if err != nil {
		return "", fmt.Errorf("batch %q: %w", id, err)
	}
	return station, nil
}
