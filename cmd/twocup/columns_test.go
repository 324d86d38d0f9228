package main

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNobodysTextIsACommandToTheTerminal(t *testing.T) {
	var out bytes.Buffer
	table := columns(&out)
	fmt.Fprintf(table, "note\t%s\n", "red \x1b[31m, bell \a, delete \x7f, CSI \u009b31m, ° and ü")
	require.NoError(t, table.Flush())
	require.Equal(t, "note  red ?[31m, bell ?, delete ?, CSI \xc2?31m, ° and ü\n", out.String())
}
