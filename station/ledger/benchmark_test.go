package ledger

import (
	"database/sql"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
	"twocup/station/metrology"
)

// One event durable. The other two say what the disk alone takes for it: a bare insert of the same bytes into the same
// file, and one fsync of them.
func BenchmarkAppend(b *testing.B) {
	fact := allKinds(b, "b1")[4]
	body, err := json.Marshal(fact)
	require.NoError(b, err)
	b.Run("event", func(b *testing.B) {
		l := open(b, b.TempDir())
		require.NoError(b, l.Append(b.Context(), "b1", started(b, "b1", "harbour-clear", noon)))
		b.ReportAllocs()
		for b.Loop() {
			require.NoError(b, l.Append(b.Context(), "b1", fact))
		}
	})
	b.Run("bare insert", func(b *testing.B) {
		l := open(b, b.TempDir())
		b.ReportAllocs()
		for b.Loop() {
			_, err := l.write.Exec("INSERT INTO events (batch, at, kind, body, prev, hash) VALUES ('b1', '', '', ?, x'', x'')", string(body))
			require.NoError(b, err)
		}
	})
	b.Run("bare fsync", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "plain"))
		require.NoError(b, err)
		defer f.Close()
		b.ReportAllocs()
		for b.Loop() {
			_, err := f.Write(body)
			require.NoError(b, err)
			require.NoError(b, f.Sync())
		}
	})
	b.Run("trace of 250 ms", func(b *testing.B) {
		l, points := open(b, b.TempDir()), pourTrace(3)
		b.ReportAllocs()
		for b.Loop() {
			require.NoError(b, l.AppendTrace(b.Context(), "b1", points))
		}
	})
}

// A batch of many events read back.
func BenchmarkEntries(b *testing.B) {
	for _, notes := range []int{10, 1000} {
		b.Run(strconv.Itoa(notes), func(b *testing.B) {
			l := open(b, b.TempDir())
			all := []batch.Fact{started(b, "b1", "harbour-clear", noon)}
			for range notes {
				all = append(all, batch.Noted{At: noon, Text: "a note"})
			}
			require.NoError(b, l.Append(b.Context(), "b1", all...))
			b.ReportAllocs()
			for b.Loop() {
				_, err := l.Entries(b.Context(), "b1")
				require.NoError(b, err)
			}
		})
	}
}

var manyBatches = flag.Int("batches", 1000, "how many batches the benchmark of a full ledger generates; the figures that count are of 1000000")

// A ledger of many batches of five events each: opened, listed, exported, verified.
func BenchmarkFull(b *testing.B) {
	dir := b.TempDir()
	l := open(b, dir)
	generate(b, l, *manyBatches)
	require.NoError(b, l.Close())
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			l, err := Open(dir)
			require.NoError(b, err)
			require.NoError(b, l.Check(b.Context()))
			require.NoError(b, l.Close())
		}
	})
	l = open(b, dir)
	ids, _, err := l.Batches(b.Context(), Query{Limit: 100})
	require.NoError(b, err)
	from, to := noon.Add(time.Hour), noon.Add(time.Duration(*manyBatches)*time.Minute-time.Hour)
	for _, q := range []struct {
		name string
		Query
	}{
		{"all", Query{}},
		{"next page", Query{Cursor: ids[99]}},
		{"from, to", Query{From: from, To: to}},
		{"material", Query{Material: "cobble-rubber"}},
		{"rare material", Query{Material: "limpet-skin"}},
		{"no such material", Query{Material: "no-such"}},
		{"rare verdict", Query{Verdict: "outside"}},
		{"no such station", Query{Station: "no-such"}},
		{"station", Query{Station: "bench-1"}},
		{"all at once", Query{From: from, To: to, Material: "limpet-skin", Verdict: "outside", Cursor: ids[99]}},
	} {
		b.Run("newest 50, "+q.name, func(b *testing.B) {
			for b.Loop() {
				_, _, err := l.Summaries(b.Context(), q.Query)
				require.NoError(b, err)
			}
		})
	}
	b.Run("unfinished", func(b *testing.B) {
		for b.Loop() {
			list, err := l.Unfinished(b.Context(), to.Add(24*time.Hour))
			require.NoError(b, err)
			require.Len(b, list, *manyBatches/1000)
		}
	})
	b.Run("export as JSON Lines", func(b *testing.B) {
		for b.Loop() {
			n, out := 0, json.NewEncoder(io.Discard)
			for s, err := range l.All(b.Context(), Query{}) {
				require.NoError(b, err)
				require.NoError(b, out.Encode(s))
				n++
			}
			require.Equal(b, *manyBatches, n)
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapInuse)/(1<<20), "MiB-heap")
		}
	})
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			report, err := l.Verify(b.Context(), "")
			require.NoError(b, err)
			require.Empty(b, report.Findings)
			require.EqualValues(b, *manyBatches, report.Batches)
		}
	})
}

// generate fills a ledger with batches, one a minute: every thousandth is unfinished and of a rare material, every
// hundredth is outside. They go in by the code of Append, many in a transaction.
func generate(b *testing.B, l *Ledger, batches int) {
	b.Helper()
	all := allKinds(b, "")
	all = []batch.Fact{all[0], all[2], all[5], all[7], all[8]}
	for n := 0; n < batches; {
		require.NoError(b, inTransaction(b.Context(), l.write, func(tx *sql.Tx) error {
			for last := min(n+5000, batches); n < last; n++ {
				facts := slices.Clone(all)
				start, end := facts[0].(batch.Started), facts[4].(batch.Accepted)
				start.ID, start.At = fmt.Sprintf("b%07d", n), noon.Add(time.Duration(n)*time.Minute)
				start.Plan.Material = []string{"harbour-clear", "cobble-rubber"}[n%2]
				if n%100 == 7 {
					end.Verdict = metrology.Outside
				}
				facts[0], facts[4] = start, end
				if n%1000 == 500 {
					start.Plan.Material = "limpet-skin"
					facts = []batch.Fact{start, facts[1]}
				}
				if _, err := appendAll(b.Context(), tx, start.ID, standing{}, facts); err != nil {
					return err
				}
			}
			return nil
		}))
	}
}
