package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// AppendTrace keeps points of a batch's mass over time, in the order of their time, in one small transaction. Like
// Append it does not end with ctx, and has its errors. An event waits for one such call at most.
func (l *Ledger) AppendTrace(ctx context.Context, id string, points []TracePoint) error {
	if len(points) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
	defer cancel()
	if err := inTransaction(ctx, l.write, func(tx *sql.Tx) error { return appendTrace(ctx, tx, id, points) }); err != nil {
		return fmt.Errorf("write the trace of batch %s: %w", id, l.reason(err))
	}
	return nil
}

func appendTrace(ctx context.Context, tx *sql.Tx, id string, points []TracePoint) error {
	place, last, err := lastChunk(ctx, tx, id)
	if err != nil {
		return err
	}
	if last == nil {
		place++
	}
	return storeChunks(ctx, tx, id, place, 0, encode(last, points))
}

// lastChunk of a batch and its place; nil where there is none, or none that can be gone on with.
func lastChunk(ctx context.Context, tx *sql.Tx, id string) (place int, last *chunk, err error) {
	var data []byte
	err = tx.QueryRowContext(ctx, "SELECT chunk, data FROM traces WHERE batch = ? ORDER BY chunk DESC LIMIT 1", id).Scan(&place, &data)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil, nil
	}
	if err != nil {
		return 0, nil, err
	}
	if _, end, err := unseal(data); err == nil {
		last = &end
	}
	return place, last, nil
}

func storeChunks(ctx context.Context, tx *sql.Tx, id string, place, thinned int, chunks []chunk) error {
	for i, c := range chunks {
		if _, err := tx.ExecContext(ctx, "INSERT INTO traces (batch, chunk, thinned, data) VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE SET data = excluded.data",
			id, place+i, thinned, c.sealed()); err != nil {
			return err
		}
	}
	return nil
}

// Trace is a batch's mass over time, and whether it was thinned: then only the extremes of each short while are left.
// A batch without one has none or its was dropped; an unknown batch is ErrNotFound.
func (r *Reader) Trace(ctx context.Context, id string) (points []TracePoint, thinned bool, err error) {
	if _, err := r.Station(ctx, id); err != nil {
		return nil, false, err
	}
	if points, thinned, err = trace(ctx, r.read, id); err != nil {
		return nil, false, fmt.Errorf("read the trace of batch %s: %w", id, err)
	}
	return points, thinned, nil
}

func trace(ctx context.Context, db asker, id string) (points []TracePoint, thinned bool, err error) {
	rows, err := db.QueryContext(ctx, "SELECT chunk, thinned, data FROM traces WHERE batch = ? ORDER BY chunk", id)
	if err != nil {
		return nil, false, err
	}
	defer rows.Close()
	for rows.Next() {
		var place int
		var less bool
		var data []byte
		if err := rows.Scan(&place, &less, &data); err != nil {
			return nil, false, err
		}
		some, _, err := unseal(data)
		if err != nil {
			return nil, false, fmt.Errorf("chunk %d: %w", place, err)
		}
		points, thinned = append(points, some...), thinned || less
	}
	return points, thinned, rows.Err()
}

// ThinTraces makes all traces together no larger than maxBytes, once they are: the newest ones that fill half of it
// stay whole, older ones are thinned, the oldest are dropped. The newest batch of all is never touched, and no event
// ever is. It works batch by batch, each in a small transaction, and can be broken off by ctx at any time. The file
// does not shrink: what is freed is used again.
func (l *Ledger) ThinTraces(ctx context.Context, maxBytes int64) error {
	if err := l.thinTraces(ctx, maxBytes); err != nil {
		return fmt.Errorf("thin the traces: %w", l.reason(err))
	}
	return nil
}

func (l *Ledger) thinTraces(ctx context.Context, maxBytes int64) error {
	var all int64
	if err := l.read.QueryRowContext(ctx, "SELECT coalesce(sum(length(data)), 0) FROM traces").Scan(&all); err != nil || all <= maxBytes {
		return err
	}
	var used int64
	newest, err := l.traceBefore(ctx, "\U0010ffff")
	for t := newest; err == nil && t.batch != ""; t, err = l.traceBefore(ctx, t.batch) {
		if t != newest && used+t.bytes > maxBytes/2 {
			if !t.thinned {
				t.bytes, err = l.thinOne(ctx, t.batch)
			}
			if err == nil && used+t.bytes > maxBytes {
				_, err = l.write.ExecContext(ctx, "DELETE FROM traces WHERE batch = ?", t.batch)
				t.bytes = 0
			}
			if err != nil {
				return err
			}
		}
		used += t.bytes
	}
	return err
}

// traced is how much the trace of a batch takes.
type traced struct {
	batch   string
	bytes   int64
	thinned bool
}

// traceBefore is the newest trace of those that are older than a batch; ids sort by the time of their making.
func (l *Ledger) traceBefore(ctx context.Context, id string) (t traced, err error) {
	err = l.read.QueryRowContext(ctx, `SELECT batch, sum(length(data)), max(thinned) FROM traces
		WHERE batch = (SELECT max(batch) FROM traces WHERE batch < ?) GROUP BY batch`, id).Scan(&t.batch, &t.bytes, &t.thinned)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return t, err
}

// thinOne thins the trace of a batch and gives what it takes then. One that can't be read is dropped.
func (l *Ledger) thinOne(ctx context.Context, id string) (bytes int64, err error) {
	err = inTransaction(ctx, l.write, func(tx *sql.Tx) error {
		points, _, err := trace(ctx, tx, id)
		if err != nil && !errors.Is(err, errDamagedTrace) {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM traces WHERE batch = ?", id); err != nil {
			return err
		}
		chunks := encode(nil, thin(points))
		for _, c := range chunks {
			bytes += int64(len(c.sealed()))
		}
		return storeChunks(ctx, tx, id, 1, 1, chunks)
	})
	return bytes, err
}
