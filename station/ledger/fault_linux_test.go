package ledger

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAFullDisk(t *testing.T) {
	mount := t.TempDir()
	if err := syscall.Mount("tmpfs", mount, "tmpfs", 0, "size=4m"); err != nil {
		t.Skip("a small disk can't be mounted here: ", err)
	}
	defer func() { require.NoError(t, syscall.Unmount(mount, 0)) }()
	dir := filepath.Join(mount, "data")
	l, err := Open(dir)
	require.NoError(t, err)
	defer l.Close()
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	ballast := filepath.Join(mount, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 3<<20), 0o600))
	n, err := fill(t, l)
	require.ErrorIs(t, err, ErrFull)
	require.Greater(t, n, 3)
	require.ErrorIs(t, l.AppendTrace(t.Context(), "b1", pourTrace(5000)), ErrFull)
	_, err = l.Entries(t.Context(), "b1")
	require.NoError(t, err, "what is there can be read")
	require.NoError(t, os.Remove(ballast))
	requireGoesOn(t, l, n)
}

func TestADiskThatTakesNothingSaysSo(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	require.NoError(t, err)
	defer full.Close()
	require.ErrorIs(t, unwritable(full), ErrFull)
}
