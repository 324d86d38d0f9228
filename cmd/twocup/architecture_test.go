package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// mayImport are the rooms and the arrows between them. A room that isn't here may not exist; cmd may import everything.
var mayImport = map[string][]string{
	"scaledrv/reading":   {},
	"scaledrv":           {"scaledrv/reading"},
	"station/material":   {"scaledrv/reading"},
	"station/metrology":  {"scaledrv/reading"},
	"station/chem":       {"scaledrv/reading"},
	"station/plan":       {"scaledrv/reading", "station/material", "station/metrology", "station/chem"},
	"station/pour":       {"scaledrv/reading"},
	"station/batch":      {"scaledrv/reading", "station/material", "station/metrology", "station/plan", "station/pour"},
	"station/ledger":     {"scaledrv/reading", "station/material", "station/batch"},
	"station":            {"scaledrv", "scaledrv/reading", "station/*"},
	"dashboard":          {"scaledrv", "scaledrv/reading", "station", "station/*"},
	"simulator":          {"scaledrv/reading"},
	"simulator/rehearse": {"scaledrv", "scaledrv/reading", "simulator", "station", "station/*"},
	"cmd/twocup":         {"*"},
}

// pure rooms know no clock but the times handed to them, do no I/O and start nothing.
var pure = []string{"scaledrv/reading", "station/material", "station/metrology", "station/chem", "station/plan", "station/pour", "station/batch"}

var impure = []string{"os", "net", "net/http", "io/fs", "database/sql", "log/slog", "context", "sync", "math/rand", "math/rand/v2"}

type room struct {
	ImportPath string
	Imports    []string
}

// rooms of this module by the build's own list: product files only, tests may reach further.
func rooms(t *testing.T) map[string][]string {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "twocup/...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	list := map[string][]string{}
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var r room
		if err := d.Decode(&r); err == io.EOF {
			return list
		} else if err != nil {
			require.NoError(t, err)
		}
		list[strings.TrimPrefix(r.ImportPath, "twocup/")] = r.Imports
	}
}

// forbidden are the arrows out of a room that no rule allows.
func forbidden(from string, imports []string) (list []string) {
	allowed, known := mayImport[from]
	if !known {
		return []string{fmt.Sprintf("%s is no room of architecture", from)}
	}
	for _, to := range imports {
		to, ours := strings.CutPrefix(to, "twocup/")
		may := slices.ContainsFunc(allowed, func(a string) bool {
			prefix, wild := strings.CutSuffix(a, "*")
			return a == to || wild && strings.HasPrefix(to, prefix)
		})
		if ours && !may {
			list = append(list, fmt.Sprintf("%s must not import %s", from, to))
		}
		if slices.Contains(pure, from) && slices.Contains(impure, to) {
			list = append(list, fmt.Sprintf("%s is pure and must not import %s", from, to))
		}
	}
	return list
}

func TestNoArrowBetweenRoomsIsForbidden(t *testing.T) {
	found := rooms(t)
	for from, imports := range found {
		require.Empty(t, forbidden(from, imports))
	}
	for name := range mayImport {
		require.Contains(t, found, name, "a rule for a room that is not there")
	}
}

func TestAForbiddenArrowIsFound(t *testing.T) {
	for _, tt := range []struct{ from, to string }{
		{"station/pour", "twocup/station"},
		{"simulator", "twocup/scaledrv"},
		{"station", "twocup/dashboard"},
		{"dashboard", "twocup/simulator"},
		{"station/batch", "database/sql"},
		{"newroom", "fmt"},
	} {
		require.Len(t, forbidden(tt.from, []string{tt.to}), 1, "%s -> %s", tt.from, tt.to)
	}
}

// The top level is fixed by the design.
func TestTheTopLevelHoldsNothingElse(t *testing.T) {
	entries, err := os.ReadDir("../..")
	require.NoError(t, err)
	fixed := []string{"cmd", "scaledrv", "station", "dashboard", "simulator", "deploy", "go.mod", "go.sum", "README.md", "DEVELOPERS.md"}
	for _, name := range fixed {
		require.True(t, slices.ContainsFunc(entries, func(e os.DirEntry) bool { return e.Name() == name }), "%s is missing", name)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && e.Name() != "twocup" { // the binary that `go build ./cmd/twocup` leaves
			require.Contains(t, fixed, e.Name())
		}
	}
}
