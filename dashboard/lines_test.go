package dashboard

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// heard asks for the lines until there are so many behind a number.
func (h *house) heard(query string, lines int) (v heardView) {
	h.t.Helper()
	require.Eventually(h.t, func() bool {
		status, body := h.ask("GET", "/api/v1/stations/bench-1/lines"+query, "")
		require.Equal(h.t, 200, status, body)
		var answer struct{ Scales []heardView }
		require.NoError(h.t, json.Unmarshal([]byte(body), &answer))
		require.Len(h.t, answer.Scales, 1)
		v = answer.Scales[0]
		return len(v.Lines) >= lines
	}, 10*time.Second, 5*time.Millisecond)
	return v
}

func text[T any](v *T) string {
	if v == nil {
		return "null"
	}
	return fmt.Sprint(*v)
}

func TestTheLinesOfAScaleAreAnsweredWithWhatBecameOfThem(t *testing.T) {
	h := newHouse(t, nil)
	before := h.heard("", 0)
	require.Empty(t, before.Lines)
	require.Equal(t, "down", before.Link)
	require.Nil(t, before.Rate)
	for _, line := range []string{
		"it begins in the midst of a line", "ST,GS,+00012.3  g", "US,NT,+00012.4  g", "OL,GS,+99999.9  g",
		"XX,GS,+00012.4  g", `<img src=x onerror="alert(1)">\`, "ST,GS,+0001\x00\xff.4  g", "ST,GS,-00000.0  g",
	} {
		h.scale.say(t, line)
	}
	got := h.heard("", 7)
	var lines []string
	for i, l := range got.Lines {
		require.EqualValues(t, i+1, l.Number)
		require.False(t, l.At.Before(got.Since), "line %d", i)
		lines = append(lines, fmt.Sprintf("%s|%s|%s|%s|%s|%s|%d|%s", l.Raw, l.Outcome, text(l.Shown), text(l.Motion), text(l.Kind), text(l.State), l.Rejected, text(l.Why)))
	}
	require.Equal(t, []string{
		`it begins in the midst of a line\r\nST,GS,+00012.3  g|held|12.3 g|stable|gross|normal|0|null`,
		`US,NT,+00012.4  g|read|12.4 g|moving|net|normal|0|null`,
		`OL,GS,+99999.9  g|read|null|unknown|gross|over|0|null`,
		`XX,GS,+00012.4  g|rejected|null|null|null|null|17|status "XX" is none of ST, US, OL, UL, QT`,
		`<img src=x onerror="alert(1)">\\|rejected|null|null|null|null|31|status "<img src=x onerror=\"alert(1)\">\\" is none of ST, US, OL, UL, QT`,
		`ST,GS,+0001\x00\xff.4  g|rejected|null|null|null|null|18|byte 0x00 at 11 is no text`,
		`ST,GS,-00000.0  g|read|0.0 g|stable|gross|normal|0|null`,
	}, lines)
	require.Equal(t, "small", got.ID)
	require.Equal(t, "status-comma", got.Shape)
	require.Equal(t, "up", got.Link)
	require.EqualValues(t, 3, got.Readings)
	require.EqualValues(t, 17+31+18, got.RejectedBytes)
	require.EqualValues(t, 34+5*19+33+20, got.Bytes)
	require.InDelta(t, 0.1, got.Division.Grams(), 0)
	require.Nil(t, got.LinkText, "the entry states none")
	require.NotNil(t, got.Rate)

	newer := h.heard("?scale=small&after=5", 2)
	require.Len(t, newer.Lines, 2)
	require.EqualValues(t, 6, newer.Lines[0].Number)
	require.Empty(t, h.heard("?after=900", 0).Lines)
	for query, want := range map[string]int{"?scale=large": 404, "?after=-1": 400, "?after=x": 400, "?colour=red": 400} {
		status, body := h.ask("GET", "/api/v1/stations/bench-1/lines"+query, "")
		require.Equal(t, want, status, body)
	}
	status, _ := h.ask("GET", "/api/v1/stations/bench-9/lines", "")
	require.Equal(t, 404, status)

	h.scale.far.Close()
	require.Eventually(t, func() bool { return h.heard("", 7).Link == "down" }, 10*time.Second, 5*time.Millisecond)
	require.Nil(t, h.heard("", 7).Rate, "nothing comes now, however much came before")
}
