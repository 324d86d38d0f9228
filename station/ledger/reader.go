package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Reader reads a ledger back. It is safe for concurrent use.
type Reader struct {
	read *sql.DB
	temp string // the folder of a copy, removed with Close; empty where the ledger itself is read
}

// OpenReader opens the ledger of a data folder to read it, beside a process that holds the folder or where none does.
// It never writes in the folder. It must not be used in the process that holds it: that has a Reader already.
//
// SQLite reads beside a writer by what stands in the file's shared memory, opened here for reading only. Where nobody
// has the ledger open SQLite would have to make that anew, also after a kill (reading what a killed process left of it
// ends now and then in "locking protocol", found by the test of kills). So such a ledger is copied to a temporary folder
// and read there as it was at that time, which takes its size in free space and the time of a copy.
func OpenReader(dir string) (*Reader, error) {
	r, err := openReader(dir)
	if err != nil {
		return nil, fmt.Errorf("read the ledger in %q: %w", dir, err)
	}
	return r, nil
}

func openReader(dir string) (*Reader, error) {
	path := filepath.Join(dir, "ledger.db")
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("%w (name the data folder of a twocup)", unwrapPath(err))
	}
	last := errors.New("it is opened and closed all the time (try again)")
	for range lockTries {
		busy, err := held(dir)
		switch {
		case err != nil:
			return nil, err
		case busy && there(path+"-wal") && there(path+"-shm"):
			r, err := readable(&Reader{}, path)
			if err == nil {
				return r, nil
			}
			last = err
		case busy:
			time.Sleep(10 * time.Millisecond) // it is about to make them
		default:
			if r, err := copied(dir, path); r != nil || err != nil {
				return r, err
			}
		}
	}
	return nil, last
}

func there(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// readable opens the file, and lets go of everything where it can't be read.
func readable(r *Reader, path string) (*Reader, error) {
	settings := "mode=ro&_busy_timeout=5000"
	if r.temp == "" {
		settings += "&readonly_shm=1"
	}
	var err error
	if r.read, err = sql.Open("sqlite", dsn(path, settings)); err == nil {
		var version int
		var steps []string
		if version, steps, err = versions(r.read); err == nil && version < len(steps) {
			err = fmt.Errorf("it has version %d, and this program reads version %d: start the daemon of this version on it once", version, len(steps))
		}
	}
	if err != nil {
		r.Close()
		return nil, err
	}
	return r, nil
}

// copied opens a copy of a ledger that nobody has open. It is nil where somebody opened that meanwhile.
func copied(dir, path string) (*Reader, error) {
	before := looks(path)
	temp, err := os.MkdirTemp("", "twocup-read-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder for a copy: %w", err)
	}
	r := &Reader{temp: temp}
	for _, end := range []string{"", "-wal"} {
		if err := copyFile(filepath.Join(temp, "ledger.db"+end), path+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, errors.Join(fmt.Errorf("copy it to a temporary folder (set TMPDIR to one with room): %w", err), r.Close())
		}
	}
	if busy, err := held(dir); err != nil || busy || looks(path) != before {
		return nil, errors.Join(err, r.Close())
	}
	return readable(r, filepath.Join(temp, "ledger.db"))
}

// looks are sizes and times by which a change of the ledger's files shows.
func looks(path string) (text string) {
	for _, end := range []string{"", "-wal"} {
		if info, err := os.Stat(path + end); err == nil {
			text += fmt.Sprint(info.Size(), info.ModTime().UnixNano(), ";")
		}
	}
	return text
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// Close ends reading.
func (r *Reader) Close() error {
	var errs []error
	if r.read != nil {
		errs = append(errs, r.read.Close())
	}
	if r.temp != "" {
		errs = append(errs, os.RemoveAll(r.temp))
	}
	return errors.Join(errs...)
}
