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

// ErrBusy is what something gives that another's reading stands in the way of: it can be asked for again.
var ErrBusy = errors.New("somebody reads the records just now (ask again)")

// Hand is one operator with one material: what is kept of how they pour it, or what they have just shown. Without an
// operator nothing is known, and nothing is kept.
type Hand struct {
	Operator string
	Material string
	Habits   batch.Habits

	forgets uint64 // of the ledger when this was read
}

// Habit is one line of what is kept of a person.
type Habit struct {
	Operator string  `json:"operator"`
	Material string  `json:"material"`
	Part     string  `json:"part"`
	Pours    int     `json:"pours"`      // it was learned from
	StopLag  float64 `json:"stop_lag_s"` // from the cue until the last gram lands, 3 decimals
}

// Hand is what is kept of an operator with a material.
func (l *Ledger) Hand(ctx context.Context, operator, material string) (Hand, error) {
	l.forgetting.RLock()
	defer l.forgetting.RUnlock()
	h := Hand{Operator: operator, Material: material, Habits: batch.Habits{}, forgets: l.forgets.Load()}
	if operator == "" {
		return h, nil
	}
	rows, err := l.read.QueryContext(ctx, "SELECT part, habit FROM habits WHERE operator = ? AND material = ?", operator, material)
	if err != nil {
		return h, fmt.Errorf("read an operator's habits with %q: %w", material, err)
	}
	defer rows.Close()
	for rows.Next() {
		var part string
		var body []byte
		if err = rows.Scan(&part, &body); err != nil {
			break
		}
		habit := h.Habits[part]
		if err = json.Unmarshal(body, &habit); err != nil {
			break
		}
		h.Habits[part] = habit
	}
	if err = errors.Join(err, rows.Err()); err != nil {
		return Hand{Operator: operator, Material: material, forgets: h.forgets}, fmt.Errorf("read an operator's habits with %q: %w", material, err)
	}
	return h, nil
}

// Learn keeps what hands have shown, all or none, each part one more pour. Those that were read before somebody was
// forgotten are not kept: what they have learned goes on from what had to go.
func (l *Ledger) Learn(ctx context.Context, hands ...Hand) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
	defer cancel()
	err := inTransaction(ctx, l.write, func(tx *sql.Tx) error {
		for _, h := range hands {
			if h.Operator == "" || h.forgets != l.forgets.Load() {
				continue
			}
			if err := keep(ctx, tx, h); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keep an operator's habits: %w", l.reason(err))
	}
	return nil
}

func keep(ctx context.Context, tx *sql.Tx, h Hand) error {
	for part, habit := range h.Habits {
		body, err := json.Marshal(habit)
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO habits (operator, material, part, pours, habit) VALUES (?, ?, ?, 1, ?)
			ON CONFLICT DO UPDATE SET pours = pours + 1, habit = excluded.habit`, h.Operator, h.Material, part, string(body)); err != nil {
			return err
		}
	}
	return nil
}

// Habits are all that is kept, by operator, material and part.
func (r *Reader) Habits(ctx context.Context) ([]Habit, error) {
	rows, err := r.read.QueryContext(ctx, `SELECT operator, material, part, pours, round(json_extract(habit, '$.stop.seconds'), 3)
		FROM habits ORDER BY operator, material, part`)
	if err != nil {
		return nil, fmt.Errorf("list habits: %w", err)
	}
	defer rows.Close()
	list := []Habit{}
	for rows.Next() {
		var h Habit
		if err := rows.Scan(&h.Operator, &h.Material, &h.Part, &h.Pours, &h.StopLag); err != nil {
			return nil, fmt.Errorf("list habits: %w", err)
		}
		list = append(list, h)
	}
	return list, rows.Err()
}

// Forget removes all habits of an operator from the ledger's files for good: the rows are overwritten (secure_delete),
// and the write-ahead log, which holds older pages, is emptied. Backups and what the disk keeps of itself are out of its
// reach. Batches keep the operator's name. What a batch that runs meanwhile teaches is not kept. ErrNotFound where
// nothing is kept of that name, ErrBusy where a reader kept the log from being emptied.
func (l *Ledger) Forget(ctx context.Context, operator string) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
	defer cancel()
	removed, err := l.removeHabits(ctx, operator)
	if err != nil {
		return fmt.Errorf("forget the habits of %q: %w", operator, l.reason(err))
	}
	var busy, frames, moved int
	if err := l.write.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return fmt.Errorf("empty the write-ahead log of the habits of %q: %w", operator, l.reason(err))
	}
	if busy != 0 {
		return fmt.Errorf("the habits of %q are forgotten, but their bytes still stand in the write-ahead log: %w", operator, ErrBusy)
	}
	if removed == 0 {
		return fmt.Errorf("habits of %q: %w", operator, ErrNotFound)
	}
	return nil
}

// removeHabits counts the forgetting before it removes anything, and nobody reads meanwhile: so what Learn lets through
// was read after it, or is removed by it.
func (l *Ledger) removeHabits(ctx context.Context, operator string) (rows int64, err error) {
	l.forgetting.Lock()
	defer l.forgetting.Unlock()
	l.forgets.Add(1)
	done, err := l.write.ExecContext(ctx, "DELETE FROM habits WHERE operator = ?", operator)
	if err != nil {
		return 0, err
	}
	return done.RowsAffected()
}
