package ledger

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
)

func TestASummarySaysWhatTheBatchSays(t *testing.T) {
	l := open(t, t.TempDir())
	all := allKinds(t, "b1")
	for i, f := range all {
		require.NoError(t, l.Append(t.Context(), "b1", f))
		list, _, err := l.Summaries(t.Context(), Query{})
		require.NoError(t, err)
		require.Len(t, list, 1)
		s := batch.Replay(all[:i+1])
		v, got := s.View(false), list[0]
		require.Equal(t, v.Phase, got.Phase)
		require.Equal(t, v.Error, got.Error)
		require.Equal(t, v.U, got.U)
		require.Equal(t, v.Verdict == nil, got.Verdict == nil)
		if v.Verdict != nil {
			require.EqualValues(t, *v.Verdict, *got.Verdict)
		}
		require.Equal(t, v.Doubt, got.Doubt)
		require.Equal(t, s.Weighed.IsZero(), got.Weighed == nil)
		require.Equal(t, s.Ended.At.IsZero(), got.Finished == nil)
		require.Len(t, got.Parts, len(v.Parts))
		for i, p := range v.Parts {
			want := Part{p.Part.Part, p.Target, p.Poured / reading.Microgram * reading.Microgram, p.Accepted}
			require.Equal(t, want, got.Parts[i], "to the microgram, as the record has it")
		}
	}
	list, _, err := l.Summaries(t.Context(), Query{})
	require.NoError(t, err)
	got := list[0]
	require.Equal(t, noon.Add(7*time.Second), *got.Weighed)
	require.Equal(t, noon.Add(9*time.Second), *got.Finished)
	require.Equal(t, noon, got.Created)
	require.Equal(t, []any{"b1", "bench-1", "harbour-clear", 3, "P", true}, []any{got.ID, got.Station, got.Material, got.Revision, got.Operator, got.Practice})
	require.Equal(t, map[string][]string{"A": {"lot 1"}, "B": {"lot 2", "lot 3"}}, got.Lots)
	require.Equal(t, 200*reading.Gram, got.Parts[0].Poured)
}

// The form of a summary is stored: when it changes, a migration must make all of them anew (deriveAll).
func TestTheFormOfASummaryIsAsStored(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
	var text string
	require.NoError(t, l.read.QueryRow("SELECT summary FROM batches").Scan(&text))
	require.JSONEq(t, `{"id":"b1","station":"bench-1","material":"harbour-clear","revision":3,"operator":"P","lots":{"A":["lot 1"],"B":["lot 2","lot 3"]},
		"practice":true,"created":"2026-01-02T12:00:00.123456789Z","weighed":"2026-01-02T12:00:07.123456789Z","finished":"2026-01-02T12:00:09.123456789Z",
		"phase":"scrapped","parts":[{"part":"A","target_g":200,"poured_g":200,"accepted":true},{"part":"B","target_g":100,"poured_g":100,"accepted":true}],
		"ratio_error_pct":0.012,"uncertainty_pct":0.224,"verdict":"within","doubt":"the cup fell"}`, text)
}

func TestAFactOfABatchThatWasNotStartedIsRefused(t *testing.T) {
	l := open(t, t.TempDir())
	require.ErrorIs(t, l.Append(t.Context(), "b1", batch.Noted{At: noon}), ErrNotFound)
	require.NoError(t, l.Append(t.Context(), "b1"), "nothing is nothing")
}

// A batch that is appended to goes on from what stands in the file, in memory or not, and after a failure.
func TestABatchThatIsNotInMemoryGoesOn(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	all := allKinds(t, "b0")
	for i := range maxRecent + 2 {
		id := fmt.Sprintf("b%d", i)
		require.NoError(t, l.Append(t.Context(), id, allKinds(t, id)[0]))
		require.LessOrEqual(t, len(l.recent), maxRecent)
	}
	require.NoError(t, l.Append(t.Context(), "b0", all[1:6]...))
	require.Error(t, l.Append(t.Context(), "b0", batch.Noted{At: noon}, all[0]))
	require.NotContains(t, l.recent, "b0")
	require.NoError(t, l.Append(t.Context(), "b0", all[6:8]...))
	require.NoError(t, l.Close())
	l = open(t, dir)
	require.NoError(t, l.Append(t.Context(), "b0", all[8:]...))
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	ended, err := l.Entries(t.Context(), "b0")
	require.NoError(t, err)
	require.Equal(t, all, facts(ended))
}

func TestUnfinished(t *testing.T) {
	l := open(t, t.TempDir())
	for i, n := range []int{1, 6, 9, 11, 9, 3} { // started; A accepted; weighed; ended; weighed later; with a cup
		id := fmt.Sprintf("b%d", i)
		all := allKinds(t, id)
		all[0] = started(t, id, "harbour-clear", noon.Add(time.Duration(i)*time.Second))
		if i == 4 {
			last := all[8].(batch.Accepted)
			last.At = noon.Add(time.Hour)
			all[8] = last
		}
		require.NoError(t, l.Append(t.Context(), id, all[:n]...))
	}
	for _, tt := range []struct {
		name  string
		since time.Time
		want  []string
	}{
		{"those that are weighed long since are left out", noon.Add(2 * time.Hour), []string{"b5", "b1", "b0"}},
		{"one weighed at that instant is in", noon.Add(time.Hour), []string{"b5", "b4", "b1", "b0"}},
		{"a nanosecond later it is out", noon.Add(time.Hour + 1), []string{"b5", "b1", "b0"}},
		{"all that have not ended", time.Time{}, []string{"b5", "b4", "b2", "b1", "b0"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list, err := l.Unfinished(t.Context(), tt.since)
			require.NoError(t, err)
			var ids []string
			for _, s := range list {
				ids = append(ids, s.ID)
			}
			require.Equal(t, tt.want, ids)
		})
	}
}

func TestLastAt(t *testing.T) {
	l := open(t, t.TempDir())
	at, err := l.LastAt(t.Context())
	require.NoError(t, err)
	require.True(t, at.IsZero())
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon), batch.Noted{At: noon.Add(time.Minute)}, batch.Noted{At: noon.Add(-time.Minute)}))
	at, err = l.LastAt(t.Context())
	require.NoError(t, err)
	require.Equal(t, noon.Add(time.Minute), at, "the newest event may state when something began")
	for range 20 {
		require.NoError(t, l.Append(t.Context(), "b1", batch.Noted{At: noon}))
	}
	at, err = l.LastAt(t.Context())
	require.NoError(t, err)
	require.Equal(t, noon, at, "a clock that was once ahead does not count for ever")
}

func TestAnUnknownCursorIsNotFound(t *testing.T) {
	l := open(t, t.TempDir())
	_, _, err := l.Batches(t.Context(), Query{Cursor: "no-such"})
	require.ErrorIs(t, err, ErrNotFound)
	require.ErrorContains(t, err, `"no-such"`)
}

func TestAllEndsWithAnErrorOrWhenItIsLeft(t *testing.T) {
	l := open(t, t.TempDir())
	for i := range 3 {
		id := fmt.Sprintf("b%d", i)
		require.NoError(t, l.Append(t.Context(), id, started(t, id, "harbour-clear", noon)))
	}
	for s := range l.All(t.Context(), Query{}) {
		require.Equal(t, "b2", s.ID)
		break
	}
	_, err := l.write.Exec("UPDATE batches SET summary = '{' WHERE id = 'b1'")
	require.NoError(t, err)
	n := 0
	for _, err := range l.All(t.Context(), Query{}) {
		n++
		require.ErrorContains(t, err, "verify the ledger")
	}
	require.Equal(t, 1, n)
}

// oldFile makes a ledger of version 1, from the statements that made one then.
func oldFile(t *testing.T, dir string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(filepath.Join(dir, "ledger.db"), ""))
	require.NoError(t, err)
	text, err := migrations.ReadFile("migration/0001_ledger.sql")
	require.NoError(t, err)
	_, err = db.Exec(string(text) + "; PRAGMA user_version = 1")
	require.NoError(t, err)
	return db
}

func insertOld(t *testing.T, db *sql.DB, id string, f batch.Fact) {
	t.Helper()
	body, err := json.Marshal(f)
	require.NoError(t, err)
	_, err = db.Exec("INSERT INTO events (batch, at, kind, body) VALUES (?, ?, ?, ?)", id, stamp(f.When()), f.Kind(), string(body))
	require.NoError(t, err)
}

func TestAnOlderFileIsChainedAndItsBatchesDerived(t *testing.T) {
	dir, wantDir := t.TempDir(), t.TempDir()
	db, want := oldFile(t, dir), open(t, wantDir)
	db.SetMaxOpenConns(1)
	_, err := db.Exec("BEGIN")
	require.NoError(t, err)
	for n := range 260 { // more events than a page
		id := fmt.Sprintf("b%03d", n)
		all := []batch.Fact{started(t, id, "harbour-clear", noon), batch.Noted{At: noon, Text: "x"}, batch.Noted{At: noon, Text: "y"}, batch.Noted{At: noon, Text: "z"}}
		if n == 7 {
			all = allKinds(t, id)
		}
		for _, f := range all {
			insertOld(t, db, id, f)
		}
		require.NoError(t, want.Append(t.Context(), id, all...))
	}
	_, err = db.Exec("COMMIT")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	l := open(t, dir)
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	same, err := want.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.Equal(t, same, report, "the same events give the same head, whenever they were chained")
	got, err := l.Entries(t.Context(), "b007")
	require.NoError(t, err)
	require.Equal(t, allKinds(t, "b007"), facts(got))
	require.NoError(t, l.Append(t.Context(), "b007", batch.Noted{At: noon}))
}

func TestAnOlderFileThatIsDamagedIsRefusedAndUnharmed(t *testing.T) {
	for _, tt := range []struct{ name, damage, want string }{
		{"a gap", "DELETE FROM events WHERE seq = 2", "event 3 does not follow on event 1: some are missing"},
		{"a body that can't be read", "UPDATE events SET body = '{' WHERE seq = 2", "batch b1, event 2"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			db := oldFile(t, dir)
			for _, f := range allKinds(t, "b1") {
				insertOld(t, db, "b1", f)
			}
			_, err := db.Exec(tt.damage)
			require.NoError(t, err)
			require.NoError(t, db.Close())
			_, err = Open(dir)
			require.ErrorContains(t, err, "bring it to version 2")
			require.ErrorContains(t, err, tt.want)
			db, err = sql.Open("sqlite", dsn(filepath.Join(dir, "ledger.db"), ""))
			require.NoError(t, err)
			defer db.Close()
			var version, columns int
			require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&version))
			require.NoError(t, db.QueryRow("SELECT count(*) FROM pragma_table_info('events')").Scan(&columns))
			require.Equal(t, []int{1, 5}, []int{version, columns})
		})
	}
}

func TestAllAtOnce(t *testing.T) {
	l := open(t, t.TempDir())
	var group sync.WaitGroup
	for n := range 4 {
		id := fmt.Sprintf("b%d", n)
		all := allKinds(t, id)
		group.Go(func() {
			for i := range all {
				assert.NoError(t, l.Append(t.Context(), id, all[i]))
				assert.NoError(t, l.AppendTrace(t.Context(), id, pourTrace(50)))
			}
		})
		group.Go(func() {
			for range 5 {
				assert.NoError(t, l.ThinTraces(t.Context(), 500))
				_, err := l.Unfinished(t.Context(), time.Time{})
				assert.NoError(t, err)
				report, err := l.Verify(t.Context(), "")
				assert.NoError(t, err)
				assert.Empty(t, report.Findings)
			}
		})
	}
	group.Wait()
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.EqualValues(t, 44, report.Events)
}

// Each list is read from one end of an index on, as far as the page goes; nothing is sorted or passed over.
func TestEveryListIsSearchedByAnIndex(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	for n := range 64 {
		var q Query
		want := ""
		if n&1 != 0 {
			q.Material, want = "m", want+" AND material=?"
		}
		if n&2 != 0 {
			q.Verdict, want = "v", want+" AND verdict=?"
		}
		if n&32 != 0 {
			if q.Station = "s"; q.Material == "" && q.Verdict == "" {
				want += " AND station=?"
			}
		}
		if n&4 != 0 {
			q.From, want = noon, want+" AND created>?"
		}
		if n&8 != 0 {
			q.Cursor = "b1"
		}
		if n&16 != 0 {
			q.To = noon.Add(time.Hour)
		}
		switch {
		case q.Cursor != "":
			want += " AND (created,id)<(?,?)"
		case !q.To.IsZero():
			want += " AND created<?"
		}
		from, args, err := l.from(t.Context(), q)
		require.NoError(t, err)
		rows, err := l.read.Query("EXPLAIN QUERY PLAN SELECT summary FROM "+from+" ORDER BY created DESC, id DESC LIMIT 51", args...)
		require.NoError(t, err)
		var plan []string
		for rows.Next() {
			var id, parent, unused int
			var step string
			require.NoError(t, rows.Scan(&id, &parent, &unused, &step))
			plan = append(plan, step)
		}
		require.NoError(t, rows.Close())
		require.Len(t, plan, 1, plan)
		require.Contains(t, plan[0], strings.TrimPrefix(want, " AND "))
	}
}
