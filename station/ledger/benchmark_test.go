package ledger

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
)

// One event durable. The other two say what the disk alone takes for it: one fsync of the same bytes, and a bare insert.
func BenchmarkAppend(b *testing.B) {
	fact := allKinds(b, "b1")[4]
	body, err := json.Marshal(fact)
	require.NoError(b, err)
	dir := b.TempDir()
	b.Run("event", func(b *testing.B) {
		l := open(b, filepath.Join(dir, "event"))
		require.NoError(b, l.Append(b.Context(), "b1", started(b, "b1", "harbour-clear", noon)))
		b.ReportAllocs()
		for b.Loop() {
			require.NoError(b, l.Append(b.Context(), "b1", fact))
		}
	})
	b.Run("bare insert", func(b *testing.B) {
		l := open(b, filepath.Join(dir, "insert"))
		b.ReportAllocs()
		for b.Loop() {
			_, err := l.write.Exec("INSERT INTO events (batch, at, kind, body) VALUES ('b1', '', '', ?)", string(body))
			require.NoError(b, err)
		}
	})
	b.Run("bare fsync", func(b *testing.B) {
		f, err := os.Create(filepath.Join(dir, "plain"))
		require.NoError(b, err)
		defer f.Close()
		b.ReportAllocs()
		for b.Loop() {
			_, err := f.Write(body)
			require.NoError(b, err)
			require.NoError(b, f.Sync())
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
