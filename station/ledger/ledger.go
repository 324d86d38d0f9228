package ledger

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // the driver's name is "sqlite"
)

//go:embed migration/*.sql
var migrations embed.FS

// ErrNotFound is what an unknown id gives, ErrExists an id that is taken.
var (
	ErrNotFound = errors.New("not found")
	ErrExists   = errors.New("exists already")
)

// Ledger is one data folder, held by one process at a time. It is safe for concurrent use.
type Ledger struct {
	write *sql.DB // one connection: one writer
	read  *sql.DB
	lock  *os.File
}

// Open opens the ledger in dir, made if its parent exists, and brings an older file up to date. It fails where another
// process holds the folder, where it can't be written, and where the file was written by a later version.
func Open(dir string) (*Ledger, error) {
	if err := os.Mkdir(dir, 0o750); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("make the data folder %q: %w (its parent must exist and be writable)", dir, unwrapPath(err))
	}
	lock, err := lockFolder(dir)
	if err != nil {
		return nil, err
	}
	l := &Ledger{lock: lock}
	if err := l.open(filepath.Join(dir, "ledger.db")); err != nil {
		l.Close()
		return nil, fmt.Errorf("open the ledger in %q: %w", dir, err)
	}
	return l, nil
}

func (l *Ledger) open(path string) error {
	// Settings stand in the name, so that every connection of the pool has them.
	name := (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}).String()
	var err error
	if l.write, err = sql.Open("sqlite", name+
		"?_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=1&_txlock=immediate"); err != nil {
		return err
	}
	l.write.SetMaxOpenConns(1)
	if err := migrate(l.write); err != nil {
		return err
	}
	l.read, err = sql.Open("sqlite", name+"?mode=ro&_busy_timeout=5000")
	return err
}

// migrate brings the file to the newest version, each step in a transaction of its own.
func migrate(db *sql.DB) error {
	steps, err := fs.Glob(migrations, "migration/*.sql")
	if err != nil {
		return err
	}
	var version int
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if version > len(steps) {
		return fmt.Errorf("it has version %d, this program knows up to %d: use the program that wrote it, or a later one",
			version, len(steps))
	}
	for i, step := range steps[version:] {
		text, err := migrations.ReadFile(step)
		if err != nil {
			return err
		}
		if err := inTransaction(context.Background(), db, func(tx *sql.Tx) error {
			_, err := tx.Exec(fmt.Sprintf("%s; PRAGMA user_version = %d", text, version+i+1))
			return err
		}); err != nil {
			return fmt.Errorf("bring it to version %d: %w", version+i+1, err)
		}
	}
	return nil
}

func inTransaction(ctx context.Context, db *sql.DB, do func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit this does nothing
	if err := do(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// Close lets go of the folder.
func (l *Ledger) Close() error {
	var errs []error
	for _, db := range []*sql.DB{l.read, l.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(append(errs, l.lock.Close())...)
}

// Check says whether the ledger answers.
func (l *Ledger) Check(ctx context.Context) error { return l.read.PingContext(ctx) }

// stamp is an instant as it is stored: fixed width, so that text order is time order.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000000Z") }

func unwrapPath(err error) error {
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Err
	}
	return err
}
