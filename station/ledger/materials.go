package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"twocup/station/material"
)

// AddMaterial keeps a new card as revision 1. ErrExists where the id is taken.
func (l *Ledger) AddMaterial(ctx context.Context, card material.Card, at time.Time) (material.Stored, error) {
	body, err := json.Marshal(card)
	if err != nil {
		return material.Stored{}, fmt.Errorf("store material %q: %w", card.ID, err)
	}
	done, err := l.write.ExecContext(context.WithoutCancel(ctx),
		"INSERT INTO materials (id, revision, at, card) VALUES (?, 1, ?, ?) ON CONFLICT DO NOTHING", card.ID, stamp(at), string(body))
	if err != nil {
		return material.Stored{}, fmt.Errorf("store material %q: %w", card.ID, l.reason(err))
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return material.Stored{}, errors.Join(fmt.Errorf("material %q %w", card.ID, ErrExists), err)
	}
	return material.Stored{Card: card, Revision: 1}, nil
}

// Material is the newest revision of a card; ErrNotFound where there is none.
func (r *Reader) Material(ctx context.Context, id string) (material.Stored, error) {
	var s material.Stored
	var body []byte
	err := r.read.QueryRowContext(ctx, "SELECT revision, card FROM materials WHERE id = ? ORDER BY revision DESC LIMIT 1", id).
		Scan(&s.Revision, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return s, fmt.Errorf("material %q: %w", id, ErrNotFound)
	}
	if err == nil {
		err = json.Unmarshal(body, &s.Card)
	}
	if err != nil {
		return s, fmt.Errorf("read material %q: %w", id, err)
	}
	return s, nil
}

// Materials are the newest revisions of all cards, by id.
func (r *Reader) Materials(ctx context.Context) ([]material.Stored, error) {
	rows, err := r.read.QueryContext(ctx, "SELECT max(revision), card FROM materials GROUP BY id ORDER BY id")
	if err != nil {
		return nil, fmt.Errorf("list materials: %w", err)
	}
	defer rows.Close()
	list := []material.Stored{}
	for rows.Next() {
		var s material.Stored
		var body []byte
		if err := rows.Scan(&s.Revision, &body); err != nil {
			return nil, fmt.Errorf("list materials: %w", err)
		}
		if err := json.Unmarshal(body, &s.Card); err != nil {
			return nil, fmt.Errorf("list materials: %w", err)
		}
		list = append(list, s)
	}
	return list, rows.Err()
}

// ReviseMaterial keeps a changed card as the next revision; the old ones stay. ErrNotFound where the id has no card yet.
func (l *Ledger) ReviseMaterial(ctx context.Context, card material.Card, at time.Time) (material.Stored, error) {
	body, err := json.Marshal(card)
	if err != nil {
		return material.Stored{}, fmt.Errorf("store material %q: %w", card.ID, err)
	}
	s := material.Stored{Card: card}
	err = l.write.QueryRowContext(context.WithoutCancel(ctx),
		`INSERT INTO materials (id, revision, at, card) SELECT id, max(revision) + 1, ?, ? FROM materials WHERE id = ? GROUP BY id
		RETURNING revision`, stamp(at), string(body), card.ID).Scan(&s.Revision)
	if errors.Is(err, sql.ErrNoRows) {
		return material.Stored{}, fmt.Errorf("material %q: %w", card.ID, ErrNotFound)
	}
	if err != nil {
		return material.Stored{}, fmt.Errorf("store material %q: %w", card.ID, l.reason(err))
	}
	return s, nil
}
