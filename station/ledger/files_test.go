package ledger

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// To open and close any of the database's files beside SQLite drops SQLite's locks: another process then writes inside
// our transaction (SQLite, How To Corrupt An SQLite Database File, 2.2). So no product file outside this package knows
// their names, and this package opens nothing itself but the lock, a backup that SQLite has let go of, and a ledger that
// no process holds, which is copied.
func TestNoProductFileOpensTheDatabaseBesideSQLite(t *testing.T) {
	root, err := filepath.Abs("../..")
	require.NoError(t, err)
	files := 0
	require.NoError(t, filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		files++
		name, err := filepath.Rel(root, path)
		require.NoError(t, err)
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		require.Empty(t, faults(filepath.ToSlash(name), file), name)
		return nil
	}))
	require.Greater(t, files, 50, "the module's files were not found")
}

func TestTheFinderOfOpenedDatabasesFindsThem(t *testing.T) {
	for _, tt := range []struct{ name, path, text, want string }{
		{"a copy made elsewhere", "cmd/twocup/backup.go", `os.Open(dir + "/ledger.db")`, `names "/ledger.db"`},
		{"the shared memory file", "station/x.go", `os.ReadFile(path + "-shm")`, `names "-shm"`},
		{"the write-ahead log", "dashboard/x.go", "os.Stat(path + `-wal`)", "names `-wal`"},
		{"any file opened here", "station/ledger/x.go", `os.ReadFile(path)`, "calls os.ReadFile"},
		{"any file copied here", "station/ledger/x.go", `os.CopyFS(dir, os.DirFS(path))`, "calls os.CopyFS calls os.DirFS"},
		{"the lock", "station/ledger/lock_unix.go", `os.OpenFile(path, 0, 0)`, ""},
		{"a backup read whole", "station/ledger/backup.go", `os.ReadFile(path)`, "calls os.ReadFile"},
		{"a ledger renamed by its reader", "station/ledger/reader.go", `os.Rename(path, to)`, "calls os.Rename"},
		{"SQLite itself", "station/ledger/ledger.go", `sql.Open("sqlite", "ledger.db")`, ""},
		{"another file elsewhere", "cmd/twocup/x.go", `os.Open("twocup.yaml")`, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			file, err := parser.ParseFile(token.NewFileSet(), tt.path, "package x; var x = "+tt.text, parser.SkipObjectResolution)
			require.NoError(t, err)
			require.Equal(t, tt.want, strings.Join(faults(tt.path, file), " "))
		})
	}
}

// allowed are the calls of package os that a file of this package may make.
var allowed = map[string]string{
	"ledger.go":    "Mkdir",
	"lock_unix.go": "Open OpenFile",
	"backup.go":    "OpenFile Open Remove",
	"reader.go":    "Stat MkdirTemp Open OpenFile RemoveAll",
}

// faults are what a file at this path of the module does with the database's files.
func faults(path string, file *ast.File) (list []string) {
	here := strings.HasPrefix(path, "station/ledger/")
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if n.Kind == token.STRING && !here && containsAny(n.Value, "ledger.db", "-wal", "-shm") {
				list = append(list, "names "+n.Value)
			}
		case *ast.CallExpr:
			call, ok := n.Fun.(*ast.SelectorExpr)
			if !ok || !here {
				return true
			}
			may := strings.Fields(allowed[filepath.Base(path)])
			if of, ok := call.X.(*ast.Ident); ok && of.Name == "os" && !slices.Contains(may, call.Sel.Name) {
				list = append(list, "calls os."+call.Sel.Name)
			}
		}
		return true
	})
	return list
}

func containsAny(text string, parts ...string) bool {
	for _, part := range parts {
		if strings.Contains(text, part) {
			return true
		}
	}
	return false
}
