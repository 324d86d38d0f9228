package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// maxFindings is how many findings are listed; the others are counted.
const maxFindings = 100

// Report is what Verify found.
type Report struct {
	Events   int64     `json:"events"`
	Batches  int64     `json:"batches"`
	Head     string    `json:"head"`     // of the newest event: keep it elsewhere
	Findings []Finding `json:"findings"` // empty: whole; at most 100
	More     int       `json:"more"`     // findings beyond those
}

// Finding is one fault. Seq is 0 where it is about a batch and not an event.
type Finding struct {
	Seq   int64  `json:"seq,omitempty"`
	Batch string `json:"batch,omitempty"`
	Kind  string `json:"kind,omitempty"`
	What  string `json:"what"`
}

func (f Finding) String() string {
	var parts []string
	if f.Seq != 0 {
		parts = append(parts, fmt.Sprintf("event %d", f.Seq))
	}
	if f.Batch != "" {
		parts = append(parts, "batch "+f.Batch)
	}
	if f.Kind != "" {
		parts = append(parts, f.Kind)
	}
	return strings.TrimPrefix(strings.Join(parts, ", ")+": "+f.What, ": ")
}

// Whole says that nothing was found.
func (r *Report) Whole() bool { return len(r.Findings) == 0 }

func (r *Report) find(f Finding) {
	if len(r.Findings) == maxFindings {
		r.More++
		return
	}
	r.Findings = append(r.Findings, f)
}

// Verify walks the whole ledger in pages, with flat memory: the file's own structure, each event's hash and its place
// in the chain, and the rows that lists are searched by against the events that they are made from. kept is a Head that
// was kept elsewhere, or empty; a ledger that has grown since is fine. An error is something that could not be read at
// all; what is wrong with the records is in the report.
func (r *Reader) Verify(ctx context.Context, kept string) (Report, error) {
	var report Report
	w := walk{report: &report}
	if kept != "" {
		var err error
		if w.kept, err = parseHead(kept); err != nil {
			return report, err
		}
	}
	if err := r.verifyFile(ctx, &report); err != nil {
		return report, fmt.Errorf("verify the ledger's file: %w", err)
	}
	if err := r.verifyChain(ctx, &w); damaged(err) {
		report.find(Finding{Seq: w.head.seq + 1, What: "it and what follows it can't be read: " + err.Error()})
	} else if err != nil {
		return report, fmt.Errorf("verify the ledger after event %d: %w", w.head.seq, err)
	}
	report.Head = w.head.String()
	if err := r.verifyBatches(ctx, &report); damaged(err) {
		report.find(Finding{What: "the table of batches can't be read: " + err.Error()})
	} else if err != nil {
		return report, fmt.Errorf("verify the table of batches: %w", err)
	}
	return report, nil
}

// verifyFile asks SQLite whether its own structure holds.
func (r *Reader) verifyFile(ctx context.Context, report *Report) error {
	rows, err := r.read.QueryContext(ctx, "PRAGMA integrity_check(10)")
	if damaged(err) {
		report.find(Finding{What: "the file is damaged: " + err.Error()})
		return nil
	} else if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		if text != "ok" {
			report.find(Finding{What: "the file is damaged: " + text})
		}
	}
	if err := rows.Err(); damaged(err) {
		report.find(Finding{What: "the file is damaged: " + err.Error()})
	} else if err != nil {
		return err
	}
	return nil
}

// damaged says whether SQLite has found its own file damaged.
func damaged(err error) bool {
	var from *sqlite.Error
	return errors.As(err, &from) && from.Code()&0xff == sqlite3.SQLITE_CORRUPT
}

// walk is how far the chain has been followed.
type walk struct {
	report *Report
	head   head
	kept   head // zero: none
}

func (r *Reader) verifyChain(ctx context.Context, w *walk) error {
	if err := r.verifyBeginning(ctx, w.report); err != nil {
		return err
	}
	for {
		page, err := r.links(ctx, w.head.seq)
		if err != nil {
			return err
		}
		for i := range page {
			w.next(&page[i])
		}
		if len(page) == 0 {
			break
		}
	}
	if w.kept.seq > w.head.seq {
		w.report.find(Finding{What: fmt.Sprintf("the tail was cut: the ledger ends with event %d, the head that was kept names event %d", w.head.seq, w.kept.seq)})
	}
	return nil
}

// verifyBeginning names what stands before the first place: nothing is ever written there, and the walk begins after it.
func (r *Reader) verifyBeginning(ctx context.Context, report *Report) error {
	rows, err := r.read.QueryContext(ctx, "SELECT seq, batch, kind FROM events WHERE seq < 1 ORDER BY seq")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		f := Finding{What: "it was put in: places begin with 1"}
		if err := rows.Scan(&f.Seq, &f.Batch, &f.Kind); err != nil {
			return err
		}
		report.Events++
		report.find(f)
	}
	return rows.Err()
}

func (r *Reader) links(ctx context.Context, after int64) (page []link, err error) {
	rows, err := r.read.QueryContext(ctx, "SELECT seq, batch, at, kind, body, prev, hash FROM events WHERE seq > ? ORDER BY seq LIMIT 500", after)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var e link
		var prev, sum []byte
		if err := rows.Scan(&e.seq, &e.batch, &e.at, &e.kind, &e.body, &prev, &sum); err != nil {
			return nil, err
		}
		copy(e.prev[:], prev) // of another length it can't fit
		copy(e.hash[:], sum)
		page = append(page, e)
	}
	return page, rows.Err()
}

// next holds an event against the one before it. An event that carries its own hash rightly, and another one's before
// it, tells that the event before it was rewritten with a new hash; an event whose own hash does not fit was itself
// changed, or does not stand in its place.
func (w *walk) next(e *link) {
	before := w.head
	w.report.Events++
	w.head = head{e.seq, e.hash}
	find := func(what string) { w.report.find(Finding{e.seq, e.batch, e.kind, what}) }
	gap, sound, follows := e.seq-before.seq-1, e.sum() == e.hash, e.prev == before.hash
	switch {
	case gap == 1:
		w.report.find(Finding{Seq: before.seq + 1, What: "it is missing"})
	case gap > 1:
		w.report.find(Finding{Seq: before.seq + 1, What: fmt.Sprintf("it and all up to event %d are missing", e.seq-1)})
	case sound && !follows && before.seq == 0:
		find("events that stood before it are missing: it does not say that it is the first")
	case sound && !follows:
		find(fmt.Sprintf("it was written after another event %d than the one that is there: that one was rewritten, or put in its place", before.seq))
	}
	switch {
	case !sound && !follows && gap == 0:
		find("it does not belong here: it was put in, moved or rewritten, or events before it were taken out and the others renumbered")
	case !sound:
		find("it is not as it was written: its content or its hash was changed")
	}
	if e.seq == w.kept.seq && e.hash != w.kept.hash {
		find("it is not the event that the kept head names: the chain was rewritten")
	}
}

// verifyBatches holds the table of batches against the events, some batches at a time, each time in one snapshot of
// the file, since others may be writing.
func (r *Reader) verifyBatches(ctx context.Context, report *Report) error {
	for after, more := "", true; more; {
		if err := inTransaction(ctx, r.read, func(tx *sql.Tx) (err error) {
			after, more, err = verifySome(ctx, tx, after, report)
			return err
		}); err != nil {
			return err
		}
	}
	return nil
}

func verifySome(ctx context.Context, tx *sql.Tx, after string, report *Report) (last string, more bool, err error) {
	for range 100 {
		var id sql.NullString
		err := tx.QueryRowContext(ctx, `SELECT min(id) FROM (SELECT min(id) AS id FROM batches WHERE id > ?1
			UNION ALL SELECT min(batch) FROM events WHERE batch > ?1)`, after).Scan(&id)
		if err != nil || !id.Valid {
			return after, false, err
		}
		after = id.String
		report.Batches++
		if err := verifyBatch(ctx, tx, after, report); err != nil {
			return after, false, err
		}
	}
	return after, true, nil
}

func verifyBatch(ctx context.Context, tx *sql.Tx, id string, report *Report) error {
	var is row
	err := tx.QueryRowContext(ctx, "SELECT id, station, material, created, verdict, weighed, finished, summary FROM batches WHERE id = ?", id).
		Scan(&is.id, &is.station, &is.material, &is.created, &is.verdict, &is.weighed, &is.finished, &is.summary)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	now, replay := stand(ctx, tx, id)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(replay, ErrNotFound):
		report.find(Finding{Batch: id, What: "lists show it, and no event tells of it"})
	case replay != nil:
		report.find(Finding{Batch: id, What: "its events can't be replayed: " + replay.Error()})
	case is == row{}:
		report.find(Finding{Batch: id, What: "events tell of it, and lists don't show it"})
	case is != now.row:
		report.find(Finding{Batch: id, What: "lists show it otherwise than its events tell"})
	}
	return nil
}
