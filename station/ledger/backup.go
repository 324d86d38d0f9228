package ledger

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Backup writes the ledger as it is now to a new file, compact and durable, while others go on writing. An existing
// file is an error and stays. To restore: stop the daemon, take ledger.db and the files beside it that begin with that
// name out of the data folder, put the backup there as ledger.db, start the daemon.
func (r *Reader) Backup(ctx context.Context, path string) error {
	if err := r.backup(ctx, path); err != nil {
		return fmt.Errorf("back the ledger up to %q: %w", path, err)
	}
	return nil
}

func (r *Reader) backup(ctx context.Context, path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o640) // SQLite writes over an empty file only
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%w (name another file, or move that one away)", ErrExists)
	}
	if err != nil {
		return unwrapPath(err)
	}
	_, err = r.read.ExecContext(ctx, "VACUUM INTO ?", path)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

// syncFolder makes a new name in it durable.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
