package ledger

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// Permissions don't bind root, so this thread opens the folder as nobody; it ends with the goroutine.
func TestAnUnwritableFolderIsRefused(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "data")
	require.NoError(t, os.Mkdir(dir, 0o500))
	for p := parent; p != os.TempDir() && p != "/"; p = filepath.Dir(p) {
		require.NoError(t, os.Chmod(p, 0o755)) // nobody must get as far as the folder
	}
	require.NoError(t, os.Chmod(dir, 0o555))
	refused := make(chan [2]error)
	go func() {
		runtime.LockOSThread()
		if os.Geteuid() == 0 {
			_ = unix.Setfsuid(65534)
		}
		_, there := Open(dir)
		_, made := Open(filepath.Join(dir, "more"))
		refused <- [2]error{there, made}
	}()
	errs := <-refused
	require.ErrorIs(t, errs[0], os.ErrPermission)
	require.ErrorContains(t, errs[0], "it must be writable by the user that runs twocup")
	require.ErrorContains(t, errs[0], dir)
	require.ErrorIs(t, errs[1], os.ErrPermission)
	require.ErrorContains(t, errs[1], "make the data folder")
}

func TestAFileThatCanOnlyBeReadIsRefused(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, open(t, dir).Close())
	require.NoError(t, os.Chmod(filepath.Join(dir, "ledger.db"), 0o444))
	require.NoError(t, os.Chmod(filepath.Join(dir, "lock"), 0o666))
	for p := dir; p != os.TempDir() && p != "/"; p = filepath.Dir(p) {
		require.NoError(t, os.Chmod(p, 0o777))
	}
	refused := make(chan error)
	go func() {
		runtime.LockOSThread()
		if os.Geteuid() == 0 {
			_ = unix.Setfsuid(65534)
		}
		_, err := Open(dir)
		refused <- err
	}()
	err := <-refused
	require.ErrorIs(t, err, ErrReadOnly)
	require.ErrorContains(t, err, dir)
}
