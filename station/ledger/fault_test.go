package ledger

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
	"twocup/station/material"
)

// fill appends notes until one fails, and gives how many were acknowledged before.
func fill(t *testing.T, l *Ledger) (acknowledged int, err error) {
	t.Helper()
	for range 100_000 {
		if err = l.Append(t.Context(), "b1", batch.Noted{At: noon, Text: strings.Repeat("x", 2000)}); err != nil {
			return acknowledged, err
		}
		acknowledged++
	}
	require.FailNow(t, "it was never full")
	return 0, nil
}

// requireGoesOn says that the start and all notes that were acknowledged are there, and that the ledger takes more.
func requireGoesOn(t *testing.T, l *Ledger, acknowledged int) {
	t.Helper()
	require.NoError(t, l.Append(t.Context(), "b1", batch.Noted{At: noon, Text: "again"}))
	require.NoError(t, l.AppendTrace(t.Context(), "b1", pourTrace(10)))
	entries, err := l.Entries(t.Context(), "b1")
	require.NoError(t, err)
	require.Len(t, entries, acknowledged+2)
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
}

func TestAFullFileIsSaidToBeAFullDisk(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	_, err := l.write.Exec("PRAGMA max_page_count = 60") // SQLite's own way to be full
	require.NoError(t, err)
	n, err := fill(t, l)
	require.ErrorIs(t, err, ErrFull)
	require.ErrorContains(t, err, "batch b1: the disk is full: free some of it")
	require.NotErrorIs(t, err, ErrReadOnly)
	_, err = l.write.Exec("PRAGMA max_page_count = 100000")
	require.NoError(t, err)
	requireGoesOn(t, l, n)
}

func TestAFileThatCanOnlyBeReadIsSaidToBe(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	_, err := l.write.Exec("PRAGMA query_only = 1") // SQLite's own way to be so
	require.NoError(t, err)
	require.ErrorIs(t, l.Append(t.Context(), "b1", batch.Noted{At: noon}), ErrReadOnly)
	require.ErrorIs(t, l.AppendTrace(t.Context(), "b1", pourTrace(1)), ErrReadOnly)
	_, err = l.AddMaterial(t.Context(), material.Demo()[0], noon)
	require.ErrorIs(t, err, ErrReadOnly)
	_, err = l.write.Exec("PRAGMA query_only = 0")
	require.NoError(t, err)
	requireGoesOn(t, l, 0)
}

func TestAnOtherFaultIsNeither(t *testing.T) {
	l := open(t, t.TempDir())
	start := started(t, "b1", "harbour-clear", noon)
	require.NoError(t, l.Append(t.Context(), "b1", start))
	err := l.Append(t.Context(), "b1", start)
	require.Error(t, err)
	require.NotErrorIs(t, err, ErrFull)
	require.NotErrorIs(t, err, ErrReadOnly)
	require.NoError(t, unwritable(l.lock))
}
