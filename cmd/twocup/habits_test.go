package main

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/pour"
)

// knows has a ledger know an operator's hand with A of harbour-clear.
func knows(t *testing.T, l *ledger.Ledger, operator string) {
	hand, err := l.Hand(t.Context(), operator, "harbour-clear")
	require.NoError(t, err)
	hand.Habits = batch.Habits{"A": pour.Habit{Stop: pour.Lag{Seconds: 0.876, SD: 0.1, Times: 3}}}
	require.NoError(t, l.Learn(t.Context(), hand))
}

const habitsOfAda = "operator  material       part  pours  stop lag\nAda Löf   harbour-clear  A     1      0.88 s\n"

func TestHabitsOnTheCommandLineOfAFolder(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	code, _, log := twocup(t, "habits forget Bo --data "+data)
	require.Equal(t, exitUnreachable, code, log)
	require.NoDirExists(t, data, "none is made of a misspelt name")
	l, err := ledger.Open(data)
	require.NoError(t, err)
	knows(t, l, "Ada Löf")
	knows(t, l, "Bo")
	code, _, log = twocup(t, "habits forget Bo --data "+data)
	require.Equal(t, exitUnreachable, code)
	require.Contains(t, log, "is held by another twocup")
	require.NoError(t, l.Close())

	code, out, log := twocup(t, "habits forget Bo --data "+data)
	require.Equal(t, exitDone, code, log)
	require.Equal(t, "Bo: forgotten\n", out)
	code, _, log = twocup(t, "habits forget Bo --data "+data)
	require.Equal(t, exitFault, code)
	require.Contains(t, log, `habits of "Bo": not found`)
	code, out, log = twocup(t, "habits list --data "+data)
	require.Equal(t, exitDone, code, log)
	require.Equal(t, habitsOfAda, out)
	code, out, log = twocup(t, "habits list --json --data "+data)
	require.Equal(t, exitDone, code, log)
	require.JSONEq(t, `{"habits":[{"operator":"Ada Löf","material":"harbour-clear","part":"A","pours":1,"stop_lag_s":0.876}],"next":null}`, out)
}

func TestHabitsOnTheCommandLineOfADaemon(t *testing.T) {
	d := startDemo(t, simulator.Options{Seed: 3})
	knows(t, d.ledger, "Ada Löf")
	at := " --url http://" + d.address + "/"
	code, out, log := twocup(t, "habits list"+at)
	require.Equal(t, exitDone, code, log)
	require.Equal(t, habitsOfAda, out)
	code, _, log = twocup(t, "habits forget Ada"+at)
	require.Equal(t, exitFault, code)
	require.Contains(t, log, "404")
	code, out, log = twocup(t, "habits forget 'Ada Löf'"+at)
	require.Equal(t, exitDone, code, log)
	require.Equal(t, "Ada Löf: forgotten\n", out)
	code, out, _ = twocup(t, "habits list --json"+at)
	require.Equal(t, exitDone, code)
	var list habitsAnswer
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	require.Empty(t, list.Habits)
	code, _, _ = twocup(t, "habits list --url http://127.0.0.1:1")
	require.Equal(t, exitUnreachable, code)
}
