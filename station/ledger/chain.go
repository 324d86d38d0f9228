package ledger

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// hash of an event, or of what stands before the first: 32 zero bytes.
type hash [sha256.Size]byte

// link is an event as it is stored.
type link struct {
	seq                   int64
	batch, at, kind, body string
	prev, hash            hash
}

// sum is the hash that an event must carry. It is SHA-256 over these bytes and no others:
//
//	the hash of the event before it, 32 bytes (of the first event: 32 zero bytes)
//	seq, 8 bytes, big-endian
//	batch, at, kind, body, each as its length in bytes (8 bytes, big-endian), then its bytes as they are stored (UTF-8)
//
// SHA-256 as in FIPS 180-4.
func (e *link) sum() (h hash) {
	b := make([]byte, 0, len(h)+5*8+len(e.batch)+len(e.at)+len(e.kind)+len(e.body))
	b = append(b, e.prev[:]...)
	b = binary.BigEndian.AppendUint64(b, uint64(e.seq))
	for _, text := range []string{e.batch, e.at, e.kind, e.body} {
		b = binary.BigEndian.AppendUint64(b, uint64(len(text)))
		b = append(b, text...)
	}
	return sha256.Sum256(b)
}

// head is the newest event's place and hash.
type head struct {
	seq  int64
	hash hash
}

func (h head) String() string { return fmt.Sprintf("%d:%x", h.seq, h.hash[:]) }

// parseHead reads what Head gave.
var ErrHead = errors.New("head")

func parseHead(text string) (h head, err error) {
	seq, sum, found := strings.Cut(text, ":")
	h.seq, err = strconv.ParseInt(seq, 10, 64)
	b, notHex := hex.DecodeString(sum)
	if !found || err != nil || h.seq < 0 || notHex != nil || len(b) != len(h.hash) {
		return head{}, fmt.Errorf("%w %q: it is not of the form SEQ:HASH with %d hexadecimal digits", ErrHead, text, 2*len(h.hash))
	}
	copy(h.hash[:], b)
	if h.seq == 0 && h.hash != (head{}).hash {
		return head{}, fmt.Errorf("%w %q: a ledger without events has zeros alone", ErrHead, text)
	}
	return h, nil
}

// Head is the place and the hash of the newest event, as SEQ:HASH. Kept somewhere else, it lets Verify show that
// everything up to it is what it was then. Of a ledger without events it is 0 and 64 zeros.
func (r *Reader) Head(ctx context.Context) (string, error) {
	h, err := readHead(ctx, r.read)
	if err != nil {
		return "", fmt.Errorf("read the ledger's head: %w", err)
	}
	return h.String(), nil
}

// asker is a database or a transaction.
type asker interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func readHead(ctx context.Context, db asker) (h head, err error) {
	var b []byte
	err = db.QueryRowContext(ctx, "SELECT seq, hash FROM events ORDER BY seq DESC LIMIT 1").Scan(&h.seq, &b)
	if errors.Is(err, sql.ErrNoRows) {
		return head{}, nil
	}
	copy(h.hash[:], b)
	return h, err
}

// insert puts the event behind the head and moves that.
func (h *head) insert(ctx context.Context, tx *sql.Tx, e link) error {
	e.seq, e.prev = h.seq+1, h.hash
	e.hash = e.sum()
	_, err := tx.ExecContext(ctx, "INSERT INTO events (seq, batch, at, kind, body, prev, hash) VALUES (?, ?, ?, ?, ?, ?, ?)",
		e.seq, e.batch, e.at, e.kind, e.body, e.prev[:], e.hash[:])
	h.seq, h.hash = e.seq, e.hash
	return err
}

// chainOlder brings the events of a file of version 1 into the chain, and derives what lists show of its batches.
func chainOlder(ctx context.Context, tx *sql.Tx) error {
	var h head
	for {
		page, err := unchained(ctx, tx, h.seq)
		if err != nil {
			return err
		}
		for _, e := range page {
			if e.seq != h.seq+1 {
				return fmt.Errorf("event %d does not follow on event %d: some are missing (put a backup in its place)", e.seq, h.seq)
			}
			if err := h.insert(ctx, tx, e); err != nil {
				return err
			}
		}
		if len(page) == 0 {
			break
		}
	}
	if _, err := tx.ExecContext(ctx, "DROP TABLE events_unchained"); err != nil {
		return err
	}
	return deriveAll(ctx, tx)
}

func unchained(ctx context.Context, tx *sql.Tx, after int64) (page []link, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT seq, batch, at, kind, body FROM events_unchained WHERE seq > ? ORDER BY seq LIMIT 1000", after)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var e link
		if err := rows.Scan(&e.seq, &e.batch, &e.at, &e.kind, &e.body); err != nil {
			return nil, err
		}
		page = append(page, e)
	}
	return page, rows.Err()
}
