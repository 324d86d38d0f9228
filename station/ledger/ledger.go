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
	"sync"
	"sync/atomic"
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
	Reader
	write *sql.DB // one connection: one writer
	lock  *os.File

	appending sync.Mutex
	recent    map[string]standing // batches appended to lately, by id

	forgetting sync.RWMutex
	forgets    atomic.Uint64 // how often somebody was forgotten
}

// Open opens the ledger in dir, made if its parent exists, and brings an older file up to date. It fails where another
// process holds the folder, where it can't be written, and where the file was written by a later version.
func Open(dir string) (*Ledger, error) {
	if err := makeFolder(dir); err != nil {
		return nil, fmt.Errorf("make the data folder %q: %w (its parent must exist and be writable)", dir, unwrapPath(err))
	}
	lock, err := lockFolder(dir)
	if err != nil {
		return nil, err
	}
	l := &Ledger{lock: lock, recent: map[string]standing{}}
	if err := l.open(filepath.Join(dir, "ledger.db")); err != nil {
		l.Close()
		return nil, fmt.Errorf("open the ledger in %q: %w", dir, l.reason(err))
	}
	return l, nil
}

// makeFolder makes it if it is not there, and its name durable: SQLite does that for the names in it.
func makeFolder(dir string) error {
	err := os.Mkdir(dir, 0o750)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return syncFolder(filepath.Dir(dir))
}

func (l *Ledger) open(path string) error {
	var err error
	if l.write, err = sql.Open("sqlite", dsn(path,
		"_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=1&_txlock=immediate&_pragma=secure_delete(1)")); err != nil {
		return err
	}
	l.write.SetMaxOpenConns(1)
	if err := migrate(l.write); err != nil {
		return err
	}
	if _, err := l.write.Exec("UPDATE batches SET id = id WHERE 0"); err != nil {
		return err // a file that can only be read says so here and not at the first event
	}
	l.read, err = sql.Open("sqlite", dsn(path, "mode=ro&_busy_timeout=5000"))
	return err
}

// dsn is the name by which a file is opened. Settings stand in it, so that every connection of a pool has them.
func dsn(path, settings string) string {
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: settings}).String()
}

// migrated is what the program itself does after the statements of a step, in the same transaction.
var migrated = map[int]func(context.Context, *sql.Tx) error{2: chainOlder}

// migrate brings the file to the newest version, each step in a transaction of its own.
func migrate(db *sql.DB) error {
	version, steps, err := versions(db)
	if err != nil {
		return err
	}
	for i, step := range steps[version:] {
		if err := migrateTo(db, version+i+1, step); err != nil {
			return fmt.Errorf("bring it to version %d: %w", version+i+1, err)
		}
	}
	return nil
}

// versions are the file's, and the steps that this program knows, one for each version. A later file is refused.
func versions(db *sql.DB) (version int, steps []string, err error) {
	if steps, err = fs.Glob(migrations, "migration/*.sql"); err != nil {
		return 0, nil, err
	}
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return 0, nil, err
	}
	if version > len(steps) {
		err = fmt.Errorf("it has version %d, this program knows up to %d: use the program that wrote it, or a later one",
			version, len(steps))
	}
	return version, steps, err
}

func migrateTo(db *sql.DB, version int, step string) error {
	text, err := migrations.ReadFile(step)
	if err != nil {
		return err
	}
	ctx := context.Background()
	return inTransaction(ctx, db, func(tx *sql.Tx) error {
		if _, err := tx.Exec(fmt.Sprintf("%s; PRAGMA user_version = %d", text, version)); err != nil {
			return err
		}
		if then := migrated[version]; then != nil {
			return then(ctx, tx)
		}
		return nil
	})
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
	errs := []error{l.Reader.Close()}
	if l.write != nil {
		errs = append(errs, l.write.Close())
	}
	return errors.Join(append(errs, l.lock.Close())...)
}

// Check says whether the ledger answers.
func (r *Reader) Check(ctx context.Context) error { return r.read.PingContext(ctx) }

// Probe says whether the ledger can be written just now, by writing what stands there already. Its errors are Append's.
func (l *Ledger) Probe(ctx context.Context) error {
	err := inTransaction(ctx, l.write, func(tx *sql.Tx) error {
		var version int
		if err := tx.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
			return err
		}
		_, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", version))
		return err
	})
	if err != nil {
		return fmt.Errorf("try to write to the ledger: %w", l.reason(err))
	}
	return nil
}

// stamp is an instant as it is stored: fixed width, so that text order is time order.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000000Z") }

func unwrapPath(err error) error {
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Err
	}
	return err
}
