package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
)

// tornLedger is the files of a ledger that was killed with its write-ahead log full, one batch in it with a note for
// each append, and its head.
func tornLedger(t *testing.T) (db, log []byte, appended []batch.Fact, head string) {
	dir := t.TempDir()
	l := open(t, dir)
	add := func(f batch.Fact) {
		require.NoError(t, l.Append(t.Context(), "b1", f))
		appended = append(appended, f)
	}
	add(started(t, "b1", "harbour-clear", noon))
	for n := range 8 {
		add(batch.Noted{At: noon.Add(time.Duration(n)), Text: string(make([]byte, 300*n))})
		if n == 3 {
			_, err := l.write.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
			require.NoError(t, err)
		}
	}
	head, err := l.Head(t.Context())
	require.NoError(t, err)
	db, err = os.ReadFile(filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	log, err = os.ReadFile(filepath.Join(dir, "ledger.db-wal"))
	require.NoError(t, err)
	return db, log, appended, head
}

// fastTemp is a folder in memory where there is one: thousands of ledgers are made here, and their disk is simulated.
var fastTemp = func() string {
	if there("/dev/shm") {
		return "/dev/shm"
	}
	return ""
}()

// verdict opens such files and says what became of the appends: "all", "cut" where the newest are missing and the kept
// head shows it, or "error" where something is found or said. Anything else fails the test.
func verdict(t *testing.T, db, log []byte, appended []batch.Fact, head string) string {
	t.Helper()
	dir, err := os.MkdirTemp(fastTemp, "twocup-torn-")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ledger.db"), db, 0o600))
	if log != nil {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "ledger.db-wal"), log, 0o600))
	}
	l, err := Open(dir)
	if err != nil {
		return "error"
	}
	defer l.Close()
	report, err := l.Verify(t.Context(), "")
	if err != nil || !report.Whole() {
		return "error"
	}
	entries, err := l.Entries(t.Context(), "b1")
	require.True(t, err == nil || errors.Is(err, ErrNotFound) && report.Events == 0, "verified as whole, and not to be read: %v", err)
	for i, e := range entries {
		require.Equal(t, appended[i], e.Fact)
	}
	report, err = l.Verify(t.Context(), head)
	require.NoError(t, err)
	require.Equal(t, len(entries) == len(appended), report.Whole(), "a kept head shows every loss")
	if report.Whole() {
		return "all"
	}
	require.Contains(t, report.Findings[0].What, "the tail was cut")
	return "cut"
}

// A write-ahead log that was cut, as no power cut leaves it but a careless copy may: SQLite takes what is whole in it.
// What is left is always a row of whole appends, and a head that was kept shows that some are missing.
// The log's layout: SQLite, WAL-mode File Format: a head of 32 bytes, then frames of 24 bytes and a page.
func TestACutWriteAheadLog(t *testing.T) {
	db, log, appended, head := tornLedger(t)
	page := int(binary.BigEndian.Uint16(db[16:]))
	require.Equal(t, 0, (len(log)-32)%(24+page))
	cuts := []int{0, 1, 4, 12, 24, 31, 32}
	for frame := 32; frame < len(log); frame += 24 + page {
		for _, n := range []int{1, 4, 8, 16, 23, 24, 25, 24 + page/2, 24 + page - 1, 24 + page} {
			cuts = append(cuts, frame+n)
		}
	}
	seen := map[string]int{}
	for _, n := range cuts {
		v := verdict(t, db, log[:n], appended, head)
		require.NotEqual(t, "error", v, "cut after %d bytes", n)
		seen[v]++
	}
	t.Log(len(cuts), seen)
	require.Equal(t, "all", verdict(t, db, log, appended, head))
	require.Equal(t, "cut", verdict(t, db, nil, appended, head))
}

func TestAWriteAheadLogOfOtherBytes(t *testing.T) {
	db, log, appended, head := tornLedger(t)
	seen := map[string]int{}
	for n := 0; n < len(log); n += 997 {
		other := slices.Clone(log)
		other[n] ^= 0x40
		seen[verdict(t, db, other, appended, head)]++
	}
	t.Log(seen)
	require.Zero(t, seen["error"])
	require.NotZero(t, seen["cut"])
}

// Each page of the file torn in the middle, and the file cut off at and within each: all is there, or it is said.
func TestATornFile(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	all := allKinds(t, "b1")
	for n := range 40 {
		all = append(all, batch.Noted{At: noon, Text: fmt.Sprint(n, string(make([]byte, 200)))})
	}
	require.NoError(t, l.Append(t.Context(), "b1", all...))
	head, err := l.Head(t.Context())
	require.NoError(t, err)
	require.NoError(t, l.Close())
	db, err := os.ReadFile(filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	page := int(binary.BigEndian.Uint16(db[16:]))
	seen := map[string]int{}
	for from := 0; from < len(db); from += page {
		for _, torn := range [][]byte{
			overwritten(db, from, from+page/2, 0), overwritten(db, from+page/2, from+page, 0), overwritten(db, from, from+page, 0),
			overwritten(db, from+page/2, from+page, 0xa5), overwritten(db, from+page-512, from+page, 0xff), db[:from], db[:from+page/2],
		} {
			v := verdict(t, torn, nil, all, head)
			if v == "cut" { // an empty file is a new ledger: only the kept head knows
				require.Empty(t, torn)
			}
			seen[v]++
		}
	}
	t.Log(len(db)/page, "pages", seen)
	require.NotZero(t, seen["error"])
}

func overwritten(db []byte, from, to int, with byte) []byte {
	db = slices.Clone(db)
	for i := from; i < to; i++ {
		db[i] = with
	}
	return db
}
