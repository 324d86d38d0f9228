package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"time"
)

// Query says which batches are wanted; its zero value says all. All that is given must hold.
type Query struct {
	From, To time.Time // of creation, From included, To not
	Material string
	Verdict  string
	Station  string // with a material or a verdict it has no index: theirs are looked through
	Cursor   string // the id after which a page goes on, as Batches gave it
	Limit    int    // 0 means 50
}

// Batches are the ids of the batches wanted, newest first, and the cursor of the next page, empty at the end.
func (r *Reader) Batches(ctx context.Context, q Query) (ids []string, next string, err error) {
	list, next, err := r.Summaries(ctx, q)
	for _, s := range list {
		ids = append(ids, s.ID)
	}
	return ids, next, err
}

// Summaries are the batches wanted, newest first, and the cursor of the next page, empty at the end. A cursor that is no
// batch's id is ErrNotFound.
func (r *Reader) Summaries(ctx context.Context, q Query) (list []Summary, next string, err error) {
	limit := q.Limit
	if limit == 0 {
		limit = 50
	}
	from, args, err := r.from(ctx, q)
	if err != nil {
		return nil, "", fmt.Errorf("list batches: %w", err)
	}
	list, err = r.summaries(ctx, from+" ORDER BY created DESC, id DESC LIMIT ?", append(args, limit+1)...)
	if err != nil {
		return nil, "", fmt.Errorf("list batches: %w", err)
	}
	if len(list) > limit {
		list, next = list[:limit], list[limit-1].ID
	}
	return list, next, nil
}

// from is the part of a statement that picks the batches wanted. It names the index: left to itself SQLite takes one
// by which it reads all batches of a verdict for a material that has few.
func (r *Reader) from(ctx context.Context, q Query) (from string, args []any, err error) {
	index, where := "batches_created", "1 = 1"
	and := func(condition string, values ...any) { where, args = where+" AND "+condition, append(args, values...) }
	if q.Material != "" {
		index = "batches_material"
		and("material = ?", q.Material)
	}
	if q.Verdict != "" {
		index = "batches_verdict"
		and("verdict = ?", q.Verdict)
	}
	if q.Material != "" && q.Verdict != "" {
		index = "batches_both"
	}
	if q.Station != "" {
		and("station = ?", q.Station)
		if q.Material == "" && q.Verdict == "" {
			index = "batches_station"
		}
	}
	if !q.From.IsZero() {
		and("created >= ?", stamp(q.From))
	}
	var last string
	if q.Cursor != "" {
		if last, err = r.created(ctx, q.Cursor); err != nil {
			return "", nil, err
		}
	}
	switch { // one end alone: of two SQLite would search by the farther
	case q.Cursor != "" && (q.To.IsZero() || last < stamp(q.To)):
		and("(created, id) < (?, ?)", last, q.Cursor)
	case !q.To.IsZero():
		and("created < ?", stamp(q.To))
	}
	return "batches INDEXED BY " + index + " WHERE " + where, args, nil
}

func (r *Reader) created(ctx context.Context, cursor string) (created string, err error) {
	err = r.read.QueryRowContext(ctx, "SELECT created FROM batches WHERE id = ?", cursor).Scan(&created)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("cursor %q: %w", cursor, ErrNotFound)
	}
	return created, err
}

func (r *Reader) summaries(ctx context.Context, from string, args ...any) (list []Summary, err error) {
	rows, err := r.read.QueryContext(ctx, "SELECT summary FROM "+from, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var text sql.RawBytes
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		var s Summary
		if err := json.Unmarshal(text, &s); err != nil {
			return nil, fmt.Errorf("a batch's summary can't be read (verify the ledger): %w", err)
		}
		list = append(list, s)
	}
	return list, rows.Err()
}

// All gives the batches wanted, newest first, one after the other. It reads in pages, so that memory stays flat and no
// reader holds the write-ahead log; what is started meanwhile is not among them. After an error it ends.
func (r *Reader) All(ctx context.Context, q Query) iter.Seq2[Summary, error] {
	q.Limit = 500
	return func(yield func(Summary, error) bool) {
		for q := q; ; {
			page, next, err := r.Summaries(ctx, q)
			if err != nil {
				yield(Summary{}, err)
				return
			}
			for _, s := range page {
				if !yield(s, nil) {
					return
				}
			}
			if next == "" {
				return
			}
			q.Cursor = next
		}
	}
}

// Unfinished are the batches that have not ended and are still to be weighed, wherever they stand, and of those that
// are weighed the ones whose last part was accepted at or after since. Newest first.
func (r *Reader) Unfinished(ctx context.Context, since time.Time) ([]Summary, error) {
	const unfinished = "SELECT id FROM batches WHERE finished = '' AND weighed " // each half by its index: OR would read all
	list, err := r.summaries(ctx, "batches WHERE id IN ("+unfinished+"= '' UNION ALL "+unfinished+">= ?) ORDER BY created DESC, id DESC", stamp(since))
	if err != nil {
		return nil, fmt.Errorf("find the unfinished batches: %w", err)
	}
	return list, nil
}
