//go:build unix

package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// lockTries is how often the lock is tried: a reader that asks whether the folder is held has it for an instant.
const lockTries = 10

// lockFolder holds the data folder for this process. The lock is a file of its own: the database's files must never be
// opened and closed beside SQLite.
func lockFolder(dir string) (*os.File, error) {
	path := filepath.Join(dir, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("write in the data folder %q: %w (it must be writable by the user that runs twocup)", dir, unwrapPath(err))
	}
	for range lockTries {
		if err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); !errors.Is(err, syscall.EWOULDBLOCK) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("the data folder %q is held by another twocup (stop it, or name another folder)", dir)
		}
		return nil, fmt.Errorf("lock the data folder %q: %w", dir, err)
	}
	return f, nil
}

// held says whether a process holds the data folder.
func held(dir string) (bool, error) {
	f, err := os.Open(filepath.Join(dir, "lock"))
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("read the data folder %q: %w", dir, unwrapPath(err))
	}
	defer f.Close() // and with it the lock that the question takes
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return true, nil
	}
	return false, err
}

// unwritable says why nothing can be written where the lock file lies; nil where it can, or for another reason.
func unwritable(lock *os.File) error {
	_, err := lock.WriteAt([]byte{'\n'}, 0)
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ErrFull
	case errors.Is(err, syscall.EROFS), errors.Is(err, os.ErrPermission):
		return ErrReadOnly
	}
	return nil
}
