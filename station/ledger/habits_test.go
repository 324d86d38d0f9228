package ledger

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
	"twocup/station/pour"
)

// lag is a habit with this stop lag.
func lag(seconds float64) pour.Habit {
	return pour.Habit{Stop: pour.Lag{Seconds: seconds, SD: 0.1, Times: 3}, Tail: pour.Lag{Seconds: 1, SD: 0.2}, Drop: pour.Drop{Grams: 0.03125, TopUps: 2}, Slowest: 1.5}
}

// teach keeps what an operator has shown, as a station does.
func teach(t *testing.T, l *Ledger, operator, material string, habits batch.Habits) {
	t.Helper()
	h, err := l.Hand(t.Context(), operator, material)
	require.NoError(t, err)
	h.Habits = habits
	require.NoError(t, l.Learn(t.Context(), h))
}

func known(t *testing.T, l *Ledger, operator, material string) batch.Habits {
	t.Helper()
	h, err := l.Hand(t.Context(), operator, material)
	require.NoError(t, err)
	return h.Habits
}

func TestAHabitIsKeptForAPersonAPartAndAMaterial(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1), "B": lag(0.4)})
	teach(t, l, "Ada", "cobble-rubber", batch.Habits{"A": lag(2)})
	teach(t, l, "Bo", "harbour-clear", batch.Habits{"A": lag(0.25)})
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(0.9876)})
	require.NoError(t, l.Close())
	l = open(t, dir) // after a restart
	require.Equal(t, batch.Habits{"A": lag(0.9876), "B": lag(0.4)}, known(t, l, "Ada", "harbour-clear"))
	require.Equal(t, batch.Habits{"A": lag(2)}, known(t, l, "Ada", "cobble-rubber"))
	require.Equal(t, batch.Habits{"A": lag(0.25)}, known(t, l, "Bo", "harbour-clear"))
	require.Empty(t, known(t, l, "Bo", "cobble-rubber"))
	require.Empty(t, known(t, l, "ada", "harbour-clear"), "another name is another person")
	list, err := l.Habits(t.Context())
	require.NoError(t, err)
	require.Equal(t, []Habit{
		{"Ada", "cobble-rubber", "A", 1, 2}, {"Ada", "harbour-clear", "A", 2, 0.988}, {"Ada", "harbour-clear", "B", 1, 0.4}, {"Bo", "harbour-clear", "A", 1, 0.25},
	}, list)
}

func TestNothingIsKeptOfNobody(t *testing.T) {
	l := open(t, t.TempDir())
	teach(t, l, "", "harbour-clear", batch.Habits{"A": lag(1)})
	require.Empty(t, known(t, l, "", "harbour-clear"))
	list, err := l.Habits(t.Context())
	require.NoError(t, err)
	require.Empty(t, list)
}

func TestAHabitThatCannotBeReadIsSaidAndNotUsed(t *testing.T) {
	l := open(t, t.TempDir())
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1), "B": lag(2)})
	_, err := l.write.Exec(`UPDATE habits SET habit = '{"stop":"soon"}' WHERE part = 'B'`)
	require.NoError(t, err)
	h, err := l.Hand(t.Context(), "Ada", "harbour-clear")
	require.ErrorContains(t, err, "harbour-clear")
	require.Empty(t, h.Habits)
}

func TestWhoIsForgottenIsForgottenAlone(t *testing.T) {
	l := open(t, t.TempDir())
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1), "B": lag(0.4)})
	teach(t, l, "Ada", "cobble-rubber", batch.Habits{"A": lag(1)})
	teach(t, l, "Bo", "harbour-clear", batch.Habits{"A": lag(0.25)})
	require.NoError(t, l.Forget(t.Context(), "Ada"))
	require.ErrorIs(t, l.Forget(t.Context(), "Ada"), ErrNotFound)
	list, err := l.Habits(t.Context())
	require.NoError(t, err)
	require.Equal(t, []Habit{{"Bo", "harbour-clear", "A", 1, 0.25}}, list)
}

// What a running batch teaches goes on from what was known when it began.
func TestWhatWasReadBeforeAForgettingIsNotKept(t *testing.T) {
	l := open(t, t.TempDir())
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1)})
	before, err := l.Hand(t.Context(), "Ada", "harbour-clear")
	require.NoError(t, err)
	require.NoError(t, l.Forget(t.Context(), "Ada"))
	require.NoError(t, l.Learn(t.Context(), before))
	require.Empty(t, known(t, l, "Ada", "harbour-clear"))
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(0.3)})
	require.Equal(t, batch.Habits{"A": lag(0.3)}, known(t, l, "Ada", "harbour-clear"), "a later batch begins anew")
}

// However learning and forgetting come together, nothing that was learned before it outlives a forgetting.
func TestForgettingBesideLearning(t *testing.T) {
	l := open(t, t.TempDir())
	for range 50 {
		teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1)})
		var both sync.WaitGroup
		both.Go(func() {
			for range 3 {
				h, err := l.Hand(t.Context(), "Ada", "harbour-clear")
				if old, there := h.Habits["A"]; err == nil && there {
					old.Slowest++ // and with it what came before
					h.Habits = batch.Habits{"A": old}
					_ = l.Learn(t.Context(), h)
				}
			}
		})
		both.Go(func() { _ = l.Forget(t.Context(), "Ada") })
		both.Wait()
		require.Empty(t, known(t, l, "Ada", "harbour-clear"))
	}
}

// bytesOf are the ledger's files as another process sees them: to open them here would drop SQLite's locks.
func bytesOf(t *testing.T, dir string) []byte {
	t.Helper()
	copied := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, exec.Command("cp", "-r", dir, copied).Run())
	var all []byte
	for _, name := range []string{"ledger.db", "ledger.db-wal"} {
		b, err := os.ReadFile(filepath.Join(copied, name))
		require.NoError(t, err)
		all = append(all, b...)
	}
	return all
}

func TestNoByteOfAHabitOutlivesAForgetting(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	var written [][]byte
	for n := range 40 { // with rows that change their size, and pages that divide
		h := lag(0.1234567 + float64(n)/7)
		body, err := json.Marshal(h)
		require.NoError(t, err)
		written = append(written, body[:30]) // the stop lag with all its digits
		teach(t, l, "Ottoline", "harbour-clear", batch.Habits{"A": h, "B": h})
		teach(t, l, "Ottoline", "card-"+string(rune('a'+n%26)), batch.Habits{"A": h})
		teach(t, l, "Bo", "harbour-clear", batch.Habits{"A": lag(float64(n))})
	}
	there := bytesOf(t, dir)
	require.Contains(t, string(there), "Ottoline")
	require.True(t, bytes.Contains(there, written[len(written)-1]), "the bytes looked for are those that are written")
	require.NoError(t, l.Forget(t.Context(), "Ottoline"))
	left := bytesOf(t, dir)
	require.NotContains(t, string(left), "Ottoline")
	for _, w := range written {
		require.False(t, bytes.Contains(left, w), "%s", w)
	}
	require.Contains(t, string(left), "harbour-clear", "the other's are there")
}

// A reader that stands in the way is said, since the log keeps its bytes then.
func TestAForgettingThatCouldNotBeFinishedSaysSo(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1)})
	rows, err := l.read.Query("SELECT part FROM habits")
	require.NoError(t, err)
	require.True(t, rows.Next())
	_, err = l.write.Exec("PRAGMA busy_timeout = 1")
	require.NoError(t, err)
	err = l.Forget(t.Context(), "Ada")
	require.ErrorIs(t, err, ErrBusy)
	require.NoError(t, rows.Close())
	require.ErrorIs(t, l.Forget(t.Context(), "Ada"), ErrNotFound, "the rows had gone")
	require.NotContains(t, string(bytesOf(t, dir)), "Ada")
}

func TestABackupHoldsTheHabits(t *testing.T) {
	l := open(t, t.TempDir())
	teach(t, l, "Ada", "harbour-clear", batch.Habits{"A": lag(1)})
	dir := t.TempDir()
	require.NoError(t, l.Backup(t.Context(), filepath.Join(dir, "ledger.db")))
	require.Equal(t, batch.Habits{"A": lag(1)}, known(t, open(t, dir), "Ada", "harbour-clear"))
}
