package ledger

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
)

// filesOf is the state of every file of a folder: what it holds, and when it was written.
func filesOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		info, err := e.Info()
		require.NoError(t, err)
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		files[e.Name()] = fmt.Sprintf("%d bytes, %x, %s", len(data), sha256.Sum256(data), info.ModTime())
	}
	return files
}

// killed is a folder with some of the files of an open ledger, as a process that is killed leaves them. (To read them
// beside SQLite drops its locks, which nobody else asks for here.)
func killed(t *testing.T, names ...string) (dir string, l *Ledger) {
	t.Helper()
	from := t.TempDir()
	l = open(t, from)
	require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
	dir = t.TempDir()
	for _, name := range names {
		data, err := os.ReadFile(filepath.Join(from, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o640))
	}
	return dir, l
}

// requireAll says that a reader has all that killed wrote, and that reading left the folder as it was.
func requireAll(t *testing.T, dir string) {
	t.Helper()
	before := filesOf(t, dir)
	r, err := OpenReader(dir)
	require.NoError(t, err)
	got, err := r.Entries(t.Context(), "b1")
	require.NoError(t, err)
	require.Equal(t, allKinds(t, "b1"), facts(got))
	report, err := r.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.Equal(t, before, filesOf(t, dir), "while it is read")
	temp := r.temp
	require.NoError(t, r.Close())
	require.Equal(t, before, filesOf(t, dir), "afterwards")
	if temp != "" {
		require.NoDirExists(t, temp)
	}
}

func TestAReaderSeesAllAndWritesNothing(t *testing.T) {
	t.Run("after a clean end", func(t *testing.T) {
		dir := t.TempDir()
		l := open(t, dir)
		require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
		require.NoError(t, l.Close())
		require.NoFileExists(t, filepath.Join(dir, "ledger.db-wal"))
		requireAll(t, dir)
	})
	t.Run("after a kill, all of it still in the write-ahead log", func(t *testing.T) {
		dir, _ := killed(t, "ledger.db", "ledger.db-wal", "ledger.db-shm", "lock")
		requireAll(t, dir)
	})
	t.Run("after a power cut that took the shared memory", func(t *testing.T) {
		dir, _ := killed(t, "ledger.db", "ledger.db-wal", "lock")
		requireAll(t, dir)
	})
	t.Run("after a power cut that left no byte of the shared memory", func(t *testing.T) {
		dir, _ := killed(t, "ledger.db", "ledger.db-wal", "lock")
		require.NoError(t, os.WriteFile(filepath.Join(dir, "ledger.db-shm"), nil, 0o640))
		requireAll(t, dir)
	})
	t.Run("with shared memory of nonsense", func(t *testing.T) {
		dir, _ := killed(t, "ledger.db", "ledger.db-wal", "lock")
		nonsense := make([]byte, 32768)
		for i := range nonsense {
			nonsense[i] = byte(i * 7)
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, "ledger.db-shm"), nonsense, 0o640))
		requireAll(t, dir)
	})
	t.Run("a copy of the file alone, without a lock", func(t *testing.T) {
		_, l := killed(t)
		dir := t.TempDir()
		require.NoError(t, l.Backup(t.Context(), filepath.Join(dir, "ledger.db")))
		requireAll(t, dir)
	})
}

// Beside a running daemon, which is another process; hold keeps the ledger open in one and appends when told.
func TestAReaderBesideARunningProcess(t *testing.T) {
	dir := t.TempDir()
	child := startChild(t, "hold", dir)
	child.expect(t, "open")
	r, err := OpenReader(dir)
	require.NoError(t, err)
	defer r.Close()
	require.Empty(t, r.temp, "it is read where it lies")
	for n := range 500 { // enough for the log to begin anew, and a reader that is open all along
		child.tell(t, "append")
		child.expect(t, "appended")
		if n%100 == 0 {
			ids, _, err := r.Batches(t.Context(), Query{Limit: 1})
			require.NoError(t, err)
			require.Equal(t, childID(n), ids[0])
		}
	}
	report, err := r.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.EqualValues(t, 500, report.Events)
	another, err := OpenReader(dir)
	require.NoError(t, err)
	require.NoError(t, another.Close())
	child.tell(t, "append")
	child.expect(t, "appended")
}

func TestOpenReaderRefuses(t *testing.T) {
	t.Run("a folder without a ledger", func(t *testing.T) {
		dir := t.TempDir()
		_, err := OpenReader(dir)
		require.ErrorIs(t, err, os.ErrNotExist)
		require.ErrorContains(t, err, dir)
		require.ErrorContains(t, err, "name the data folder of a twocup")
		require.Empty(t, filesOf(t, dir))
	})
	for _, tt := range []struct {
		name, version, want string
	}{
		{"a later version", "99", fmt.Sprintf("it has version 99, this program knows up to %d", newest(t))},
		{"an earlier version, which it would have to change", "1", fmt.Sprintf("it has version 1, and this program reads version %d: start the daemon", newest(t))},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			l := open(t, dir)
			_, err := l.write.Exec("PRAGMA user_version = " + tt.version)
			require.NoError(t, err)
			require.NoError(t, l.Close())
			before := filesOf(t, dir)
			_, err = OpenReader(dir)
			require.ErrorContains(t, err, tt.want)
			require.Equal(t, before, filesOf(t, dir))
		})
	}
	t.Run("a file that is no database", func(t *testing.T) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "ledger.db"), []byte("a shopping list that is long enough to have a head, if not the right one: "+fmt.Sprint(noon)), 0o600))
		_, err := OpenReader(dir)
		require.ErrorContains(t, err, "not a database")
	})
}

// A ledger that nobody had open is read as it was then, and can be opened meanwhile.
func TestAReaderDoesNotKeepADaemonFromStarting(t *testing.T) {
	dir, _ := killed(t, "ledger.db", "ledger.db-wal", "ledger.db-shm", "lock")
	r, err := OpenReader(dir)
	require.NoError(t, err)
	defer r.Close()
	child := startChild(t, "hold", dir)
	child.expect(t, "open")
	child.tell(t, "append")
	child.expect(t, "appended")
	ids, _, err := r.Batches(t.Context(), Query{})
	require.NoError(t, err)
	require.Equal(t, []string{"b1"}, ids)
}

func TestBackup(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
	require.NoError(t, l.AppendTrace(t.Context(), "b1", pourTrace(100)))
	head, err := l.Head(t.Context())
	require.NoError(t, err)
	dir := t.TempDir()
	path := filepath.Join(dir, "ledger.db")
	tx, err := l.write.Begin() // somebody is writing
	require.NoError(t, err)
	_, err = tx.Exec("INSERT INTO traces (batch, chunk, data) VALUES ('x', 1, x'')")
	require.NoError(t, err)
	require.NoError(t, l.Backup(t.Context(), path))
	require.NoError(t, tx.Commit())
	require.NoError(t, l.Append(t.Context(), "b1", batch.Noted{At: noon, Text: "later"}))

	restored := open(t, dir)
	report, err := restored.Verify(t.Context(), head)
	require.NoError(t, err)
	require.Empty(t, report.Findings)
	require.Equal(t, head, report.Head)
	points, _, err := restored.Trace(t.Context(), "b1")
	require.NoError(t, err)
	require.Len(t, points, 100)
	require.NoError(t, restored.Append(t.Context(), "b1", batch.Noted{At: noon, Text: "goes on"}))
}

func TestABackupNeverGoesOverAnExistingFile(t *testing.T) {
	l := open(t, t.TempDir())
	for _, content := range []string{"", "something"} {
		path := filepath.Join(t.TempDir(), "backup.db")
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		err := l.Backup(t.Context(), path)
		require.ErrorIs(t, err, ErrExists)
		require.ErrorContains(t, err, path)
		left, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, content, string(left))
	}
}

func TestABackupThatFailsLeavesNoFile(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	require.Error(t, l.Backup(t.Context(), filepath.Join(dir, "no", "such", "backup.db")))
	path := filepath.Join(t.TempDir(), "backup.db")
	require.NoError(t, l.Close())
	require.ErrorContains(t, l.Backup(t.Context(), path), "closed") // any failure after the file was made
	require.NoFileExists(t, path)
}
