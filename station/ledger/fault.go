package ledger

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// ErrFull and ErrReadOnly are why nothing can be written until somebody has done something about it.
var (
	ErrFull     = errors.New("the disk is full: free some of it")
	ErrReadOnly = errors.New("the data folder can't be written: make it and its disk writable again")
)

// reason joins ErrFull or ErrReadOnly to an error of a write where that is what it comes from. Where SQLite says only
// that a write has failed, the lock file is asked: what can't be written there has the system's own reason.
func (l *Ledger) reason(err error) error {
	var from *sqlite.Error
	if !errors.As(err, &from) {
		return err
	}
	why := map[int]error{sqlite3.SQLITE_FULL: ErrFull, sqlite3.SQLITE_READONLY: ErrReadOnly}[from.Code()&0xff]
	if from.Code()&0xff == sqlite3.SQLITE_IOERR || from.Code()&0xff == sqlite3.SQLITE_CANTOPEN {
		why = unwritable(l.lock)
	}
	if why == nil {
		return err
	}
	return fmt.Errorf("%w (%w)", why, err)
}
