package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/material"
	"twocup/station/metrology"
	"twocup/station/plan"
)

var noon = time.Date(2026, 1, 2, 12, 0, 0, 123456789, time.UTC)

func open(t testing.TB, dir string) *Ledger {
	t.Helper()
	l, err := Open(dir)
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	return l
}

func started(t testing.TB, id, card string, at time.Time) batch.Started {
	t.Helper()
	for _, c := range material.Demo() {
		if c.ID != card {
			continue
		}
		total := 300 * reading.Gram
		p, err := plan.Make(c, 3, plan.Amount{TotalG: &total}, &plan.Scale{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram})
		require.NoError(t, err)
		return batch.Started{
			At: at, ID: id, Station: "bench-1", Operator: "P", Lots: map[string][]string{"A": {"lot 1"}, "B": {"lot 2", "lot 3"}}, Practice: true,
			Card: material.Stored{Card: c, Revision: 3}, Plan: p, Auto: batch.Auto{Tare: true, Accept: true, Settle: time.Second, HandOver: 4 * time.Second},
			Amount: &plan.Amount{TotalG: &total}, BPer100A: new(50.0), Again: &batch.Again{Batch: "b0", Revision: 2},
		}
	}
	require.FailNow(t, "no such card", card)
	return batch.Started{}
}

// allKinds is one fact of every kind, in an order that can happen.
func allKinds(t testing.TB, id string) []batch.Fact {
	at := func(s int) time.Time { return noon.Add(time.Duration(s) * time.Second) }
	from := plan.Picograms(28_349_523_125_001) // a picogram that JSON must not lose
	a := batch.Weighing{From: from, To: from + 200_000_000_000_003, FromD: 100_000_000_000, ToD: 100_000_000_000}
	b := batch.Weighing{From: a.To, To: a.To + 100_000_000_000_000, FromD: a.ToD, ToD: a.ToD, Shared: true}
	start := started(t, id, "harbour-clear", at(0))
	partB := start.Plan.Parts[1]
	errorPct, uPct := 0.012345678901234567, 0.22412345678901234
	return []batch.Fact{
		start,
		batch.Overridden{At: at(1), Check: "resolution", Reason: "only a sample", Operator: "P"},
		batch.CupTaken{At: at(2), Reference: from, Division: 100_000_000_000},
		batch.Referenced{At: at(3), Why: "key", Dosing: 1, Weighings: []batch.Weighing{a}, Reference: -7, Division: 100_000_000_000, Part: &partB, Provable: true},
		batch.Doubted{At: at(3), Why: "the cup fell"},
		batch.Accepted{At: at(4), Dosing: 0, Part: "A", By: "auto", Weighings: []batch.Weighing{a}, Poured: 200 * reading.Gram, Flow: 12.345678901234567,
			Next: &batch.Dosing{Part: partB, Provable: true}},
		batch.Reopened{At: at(5), Dosing: 1, Part: "A", Why: "drip"},
		batch.Begun{At: at(6), Part: "B", By: "rise"},
		batch.Accepted{At: at(7), Dosing: 1, Part: "B", By: "accept", Weighings: []batch.Weighing{b}, Poured: 100 * reading.Gram, Flow: 3,
			ErrorPct: &errorPct, UPct: &uPct, Verdict: metrology.Within},
		batch.Noted{At: at(8), Text: "a note\nof \"two\" lines · ü", Operator: "P"},
		batch.Ended{At: at(9), Phase: batch.PhaseScrapped, Reason: "spilt", Dosing: 1, Weighings: []batch.Weighing{b}},
	}
}

// laterKinds are those that came after allKinds was counted on.
func laterKinds(t *testing.T) []batch.Fact {
	w := batch.Weighing{From: -7, To: 100_000_000_000, FromD: 1, ToD: 1, Shared: true}
	return []batch.Fact{
		batch.Jumped{At: noon, From: 5, To: -1, Silent: true, Clean: true},
		batch.Answered{At: noon, Answer: "lifted"},
		batch.Referenced{At: noon, Why: "cup_back", Dosing: 1, Left: [][]batch.Weighing{{w}, {}}, Foreign: 7},
		batch.ClockDoubted{At: noon, Why: "it was set back"},
	}
}

func facts(entries []Entry) (list []batch.Fact) {
	for _, e := range entries {
		list = append(list, e.Fact)
	}
	return list
}

func TestEveryKindOfFactComesBackAsItWas(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	want := append(allKinds(t, "b1"), laterKinds(t)...)
	require.NoError(t, l.Append(t.Context(), "b1", want[0]))
	require.NoError(t, l.Append(t.Context(), "b2", started(t, "b2", "cobble-rubber", noon)))
	require.NoError(t, l.Append(t.Context(), "b1", want[1:]...))
	check := func(l *Ledger) {
		entries, err := l.Entries(t.Context(), "b1")
		require.NoError(t, err)
		require.Equal(t, want, facts(entries))
		for i, e := range entries {
			require.Equal(t, want[i].Kind(), e.Kind)
			require.Equal(t, want[i].When(), e.At)
			require.True(t, i == 0 || e.Seq > entries[i-1].Seq, "places in the ledger grow")
		}
	}
	check(l)
	require.NoError(t, l.Close())
	check(open(t, dir)) // by another process, for all it knows
}

func TestEveryFieldOfEveryKindIsTested(t *testing.T) {
	source, err := os.ReadFile("../batch/fact.go")
	require.NoError(t, err)
	untested := map[string]bool{}
	for _, match := range regexp.MustCompile(`case "(\w+)":`).FindAllSubmatch(source, -1) {
		untested[string(match[1])] = true
	}
	require.NotEmpty(t, untested, "the kinds that can be read back were not found")
	tested := append(allKinds(t, "b1"), laterKinds(t)...)
	for _, f := range tested {
		delete(untested, f.Kind())
		for _, field := range reflect.VisibleFields(reflect.TypeOf(f)) {
			if field.IsExported() && field.Tag.Get("json") != "-" { // that is in memory only
				untested[f.Kind()+"."+field.Name] = true
			}
		}
	}
	for _, f := range tested {
		for _, field := range reflect.VisibleFields(reflect.TypeOf(f)) {
			if !reflect.ValueOf(f).FieldByIndex(field.Index).IsZero() {
				delete(untested, f.Kind()+"."+field.Name)
			}
		}
	}
	require.Empty(t, untested, "kinds, and fields that are zero in every fact of theirs")
}

func TestAllFactsOfAnAppendOrNone(t *testing.T) {
	l := open(t, t.TempDir())
	start := started(t, "b1", "harbour-clear", noon)
	require.Error(t, l.Append(t.Context(), "b1", start, batch.Noted{At: noon, Text: "one"}, start), "a batch starts once")
	_, err := l.Entries(t.Context(), "b1")
	require.ErrorIs(t, err, ErrNotFound)
	require.NoError(t, l.Append(t.Context(), "b1", start))
	err = l.Append(t.Context(), "b1", start)
	require.ErrorContains(t, err, "batch b1")
}

func TestAnUnknownBatchIsNotFound(t *testing.T) {
	_, err := open(t, t.TempDir()).Entries(t.Context(), "b1")
	require.ErrorIs(t, err, ErrNotFound)
	require.ErrorContains(t, err, `"b1"`)
}

func TestACancelledContextDoesNotUndoAnAppend(t *testing.T) {
	l := open(t, t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, l.Append(ctx, "b1", started(t, "b1", "harbour-clear", noon)))
	entries, err := l.Entries(t.Context(), "b1")
	require.NoError(t, err)
	require.Len(t, entries, 1)
	_, err = l.AddMaterial(ctx, material.Demo()[0], noon)
	require.NoError(t, err)
	_, err = l.Material(t.Context(), material.Demo()[0].ID)
	require.NoError(t, err)
}

func TestADamagedEventIsAnErrorThatNamesIt(t *testing.T) {
	for _, tt := range []struct{ name, kind, body, want string }{
		{"a body torn in the middle", "noted", `{"at":"2026-01-02T12:00:00Z","te`, `event 2: read a fact of kind "noted"`},
		{"a kind of a later version", "dosed", `{}`, `event 2: unknown kind of fact "dosed"`},
		{"an empty body", "ended", ``, `event 2: read a fact of kind "ended"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := open(t, t.TempDir())
			require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
			_, err := l.write.Exec("INSERT INTO events (batch, at, kind, body, prev, hash) VALUES ('b1', '', ?, ?, x'', x'')", tt.kind, tt.body)
			require.NoError(t, err)
			_, err = l.Entries(t.Context(), "b1")
			require.ErrorContains(t, err, "batch b1")
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func TestBatches(t *testing.T) {
	l := open(t, t.TempDir())
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
	accepted := func(v metrology.Verdict) batch.Accepted {
		return batch.Accepted{At: noon, Part: "B", Weighings: []batch.Weighing{{To: 1}}, Verdict: v}
	}
	for i, b := range []struct {
		id, card string
		more     []batch.Fact
	}{
		{"b0", "harbour-clear", []batch.Fact{accepted(metrology.Within)}},
		{"b1", "cobble-rubber", []batch.Fact{accepted(metrology.Outside)}},
		{"b2", "harbour-clear", []batch.Fact{accepted(metrology.Within), batch.Reopened{At: noon, Why: "landed"}}},
		{"b3", "harbour-clear", []batch.Fact{accepted(metrology.Unproven), batch.Reopened{At: noon}, accepted(metrology.Within), batch.Ended{At: noon, Phase: batch.PhaseScrapped}}},
		{"b4", "cobble-rubber", nil},
	} {
		require.NoError(t, l.Append(t.Context(), b.id, append([]batch.Fact{started(t, b.id, b.card, at(i))}, b.more...)...))
	}
	for _, tt := range []struct {
		name string
		q    Query
		want []string
		next string
	}{
		{"all, newest first", Query{}, []string{"b4", "b3", "b2", "b1", "b0"}, ""},
		{"a page has its limit and says where the next begins", Query{Limit: 2}, []string{"b4", "b3"}, "b3"},
		{"the next page goes on after it", Query{Limit: 2, Cursor: "b3"}, []string{"b2", "b1"}, "b1"},
		{"the last page has no next", Query{Limit: 2, Cursor: "b1"}, []string{"b0"}, ""},
		{"a page that is just full is the last", Query{Limit: 2, Cursor: "b2"}, []string{"b1", "b0"}, ""},
		{"of one material", Query{Material: "cobble-rubber"}, []string{"b4", "b1"}, ""},
		{"of a station that made none", Query{Station: "bench-2"}, nil, ""},
		{"of one station, as many as a page has", Query{Station: "bench-1", Limit: 1}, []string{"b4"}, "b4"},
		{"by verdict, the one that holds now", Query{Verdict: "within"}, []string{"b3", "b0"}, ""},
		{"a verdict taken back is none", Query{Verdict: "unproven"}, nil, ""},
		{"from an instant on, itself included", Query{From: at(3)}, []string{"b4", "b3"}, ""},
		{"a nanosecond later it is out", Query{From: at(3).Add(1)}, []string{"b4"}, ""},
		{"up to an instant, itself not included", Query{To: at(1)}, []string{"b0"}, ""},
		{"an instant in another time zone is the same", Query{From: at(3).In(time.FixedZone("", 7200))}, []string{"b4", "b3"}, ""},
		{"all that is given must hold", Query{From: at(0), To: at(4), Material: "harbour-clear", Verdict: "within"}, []string{"b3", "b0"}, ""},
		{"with a cursor and a limit as well", Query{From: at(0), To: at(4), Material: "harbour-clear", Limit: 1, Cursor: "b3"}, []string{"b2"}, "b2"},
		{"a cursor before the beginning of the time asked for has nothing after it", Query{From: at(3), Cursor: "b1"}, nil, ""},
		{"a cursor after the end of it is no end", Query{To: at(2), Cursor: "b4"}, []string{"b1", "b0"}, ""},
		{"a cursor within it is", Query{To: at(3), Cursor: "b1"}, []string{"b0"}, ""},
		{"quotes in a filter are text", Query{Material: "' OR 1=1 --"}, nil, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if tt.q.Limit == 0 {
				var all []string
				for s, err := range l.All(t.Context(), tt.q) {
					require.NoError(t, err)
					all = append(all, s.ID)
				}
				require.Equal(t, tt.want, all, "one after the other")
			}
			ids, next, err := l.Batches(t.Context(), tt.q)
			require.NoError(t, err)
			require.Equal(t, tt.want, ids)
			require.Equal(t, tt.next, next)
		})
	}
}

func TestStationOfABatch(t *testing.T) {
	l := open(t, t.TempDir())
	start := started(t, "b1", "harbour-clear", noon)
	start.Station = "bench-7"
	require.NoError(t, l.Append(t.Context(), "b1", start))
	station, err := l.Station(t.Context(), "b1")
	require.NoError(t, err)
	require.Equal(t, "bench-7", station)
	_, err = l.Station(t.Context(), "b2")
	require.ErrorIs(t, err, ErrNotFound)
	require.ErrorContains(t, err, `"b2"`)
}

func TestMaterials(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	empty, err := l.Materials(t.Context())
	require.NoError(t, err)
	require.NotNil(t, empty)
	require.Empty(t, empty)
	for _, card := range material.Demo() {
		stored, err := l.AddMaterial(t.Context(), card, noon)
		require.NoError(t, err)
		require.Equal(t, material.Stored{Card: card, Revision: 1}, stored)
	}
	card := material.Demo()[0]
	_, err = l.AddMaterial(t.Context(), material.Card{ID: card.ID, Name: "another", Ratio: card.Ratio}, noon)
	require.ErrorIs(t, err, ErrExists)
	require.ErrorContains(t, err, card.ID)
	_, err = l.Material(t.Context(), "no-such")
	require.ErrorIs(t, err, ErrNotFound)
	require.ErrorContains(t, err, "no-such")

	// A later version of the program makes further revisions; the newest is the one in force.
	_, err = l.write.Exec(`INSERT INTO materials (id, revision, at, card) VALUES (?, 12, '', '{"id":"`+card.ID+`","name":"newer"}'), (?, 9, '', '{}')`, card.ID, card.ID)
	require.NoError(t, err)
	require.NoError(t, l.Close())
	l = open(t, dir)
	newest, err := l.Material(t.Context(), card.ID)
	require.NoError(t, err)
	require.Equal(t, material.Stored{Card: material.Card{ID: card.ID, Name: "newer"}, Revision: 12}, newest)
	list, err := l.Materials(t.Context())
	require.NoError(t, err)
	require.Len(t, list, len(material.Demo()))
	for _, stored := range list {
		one, err := l.Material(t.Context(), stored.ID)
		require.NoError(t, err)
		require.Equal(t, one, stored, "the list and the card itself agree")
	}
	for i, card := range material.Demo()[1:] {
		stored, err := l.Material(t.Context(), card.ID)
		require.NoError(t, err)
		require.Equal(t, material.Stored{Card: card, Revision: 1}, stored, i)
	}
}

// Every setting must hold on every connection of both pools. SQLite's own numbers: synchronous FULL is 2.
func TestSettingsAreInForceOnEveryConnection(t *testing.T) {
	l := open(t, t.TempDir())
	ask := func(c *sql.Conn, pragma string) (value string) {
		require.NoError(t, c.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&value))
		return value
	}
	l.write.SetMaxOpenConns(2) // so that a second one can be asked
	for n := range 2 {
		c, err := l.write.Conn(t.Context())
		require.NoError(t, err)
		defer c.Close()
		require.Equal(t, "wal", ask(c, "journal_mode"), "writer %d", n)
		require.Equal(t, "2", ask(c, "synchronous"), "writer %d", n)
		require.Equal(t, "5000", ask(c, "busy_timeout"), "writer %d", n)
		require.Equal(t, "1", ask(c, "foreign_keys"), "writer %d", n)
	}
	for n := range 2 {
		c, err := l.read.Conn(t.Context())
		require.NoError(t, err)
		defer c.Close()
		require.Equal(t, "wal", ask(c, "journal_mode"), "reader %d", n)
		require.Equal(t, "5000", ask(c, "busy_timeout"), "reader %d", n)
		_, err = c.ExecContext(t.Context(), "INSERT INTO events (batch, at, kind, body, prev, hash) VALUES ('', '', '', '', x'', x'')")
		require.ErrorContains(t, err, "readonly", "reader %d", n)
	}
}

func TestTheWriterHasOneConnectionAndLocksFromTheStart(t *testing.T) {
	l := open(t, t.TempDir())
	require.Equal(t, 1, l.write.Stats().MaxOpenConnections)
	tx, err := l.write.Begin()
	require.NoError(t, err)
	defer tx.Rollback()
	other, err := sql.Open("sqlite", "file:"+filepath.Join(filepath.Dir(l.lock.Name()), "ledger.db")+"?_busy_timeout=0")
	require.NoError(t, err)
	defer other.Close()
	_, err = other.Exec("INSERT INTO events (batch, at, kind, body, prev, hash) VALUES ('', '', '', '', x'', x'')")
	require.ErrorContains(t, err, "locked", "a transaction that has only begun must hold the write lock")
}

func TestOpenRefuses(t *testing.T) {
	t.Run("a folder that is held already, also by this process", func(t *testing.T) {
		dir := t.TempDir()
		l := open(t, dir)
		_, err := Open(dir)
		require.ErrorContains(t, err, dir)
		require.ErrorContains(t, err, "held by another twocup")
		require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)), "the holder goes on")
		require.NoError(t, l.Close())
		require.NoError(t, open(t, dir).Check(t.Context()), "once let go it can be had")
	})
	t.Run("a folder whose parent does not exist", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "no", "such")
		_, err := Open(dir)
		require.ErrorIs(t, err, os.ErrNotExist)
		require.ErrorContains(t, err, dir)
		require.ErrorContains(t, err, "its parent must exist")
		require.NoDirExists(t, filepath.Dir(dir))
	})
	t.Run("a folder below a file", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(file, nil, 0o600))
		_, err := Open(filepath.Join(file, "data"))
		require.ErrorContains(t, err, "make the data folder")
		require.ErrorContains(t, err, "not a directory")
	})
	t.Run("a file in the folder's place", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(file, nil, 0o600))
		_, err := Open(file)
		require.ErrorContains(t, err, "write in the data folder")
		require.ErrorContains(t, err, "not a directory")
	})
	t.Run("a file that is no database", func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "ledger.db")
		text := []byte("this was a shopping list, and it is long enough to be read as the head of a file that it is not")
		require.NoError(t, os.WriteFile(path, text, 0o600))
		_, err := Open(dir)
		require.ErrorContains(t, err, dir)
		require.ErrorContains(t, err, "not a database")
		left, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, text, left)
	})
}

func TestAFolderIsMadeIfItsParentExists(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data of ?#% a bench") // the name must not be read as a part of the settings
	l := open(t, dir)
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	require.FileExists(t, filepath.Join(dir, "ledger.db"))
}

func TestAFileOfALaterVersionIsRefusedAndUnharmed(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	_, err := l.write.Exec("PRAGMA user_version = 99")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	before, err := os.ReadFile(filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)

	_, err = Open(dir)
	require.ErrorContains(t, err, dir)
	require.ErrorContains(t, err, fmt.Sprintf("it has version 99, this program knows up to %d: use the program that wrote it, or a later one", newest(t)))
	after, err := os.ReadFile(filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	require.Equal(t, before, after)
	_, err = Open(dir)
	require.ErrorContains(t, err, "99", "the folder was let go of")
}

func TestOpeningAgainMigratesNothing(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, open(t, dir).Close())
	l := open(t, dir)
	var version int
	require.NoError(t, l.read.QueryRow("PRAGMA user_version").Scan(&version))
	require.Equal(t, newest(t), version)
}

// newest version of the file: there is one step to each.
func newest(t *testing.T) int {
	steps, err := migrations.ReadDir("migration")
	require.NoError(t, err)
	return len(steps)
}

func TestAFailedMigrationLeavesNothingBehind(t *testing.T) {
	dir := t.TempDir()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE materials (other TEXT)") // the last table that the first step makes
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = Open(dir)
	require.ErrorContains(t, err, "bring it to version 1")
	db, err = sql.Open("sqlite", "file:"+filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	defer db.Close()
	var tables, version int
	require.NoError(t, db.QueryRow("SELECT count(*) FROM sqlite_schema WHERE type = 'table'").Scan(&tables))
	require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&version))
	require.Equal(t, 1, tables)
	require.Equal(t, 0, version)
}

func TestCheck(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Check(t.Context()))
	require.NoError(t, l.Close())
	require.Error(t, l.Check(t.Context()))
}
