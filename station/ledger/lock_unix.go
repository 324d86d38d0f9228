//go:build unix

package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockFolder holds the data folder for this process. The lock is a file of its own: the database's files must never be
// opened and closed beside SQLite.
func lockFolder(dir string) (*os.File, error) {
	path := filepath.Join(dir, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("write in the data folder %q: %w (it must be writable by the user that runs twocup)", dir, unwrapPath(err))
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("the data folder %q is held by another twocup (stop it, or name another folder)", dir)
		}
		return nil, fmt.Errorf("lock the data folder %q: %w", dir, err)
	}
	return f, nil
}
