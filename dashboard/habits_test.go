package dashboard

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
	"twocup/station/pour"
)

// knows has the ledger know an operator's hand with A of harbour-clear.
func (h *house) knows(operator string) {
	l := h.server.cfg.Ledger
	hand, err := l.Hand(h.t.Context(), operator, "harbour-clear")
	require.NoError(h.t, err)
	hand.Habits = batch.Habits{"A": pour.Habit{Stop: pour.Lag{Seconds: 0.9 - 0.0000001, SD: 0.1, Times: 3}}}
	require.NoError(h.t, l.Learn(h.t.Context(), hand))
}

func TestHabitsAreListedAndForgotten(t *testing.T) {
	h := newHouse(t, nil)
	h.knows("Ada Löf & Co")
	h.knows("Bo")
	h.knows("Bo")
	const bo = `{"operator":"Bo","material":"harbour-clear","part":"A","pours":2,"stop_lag_s":0.9}`
	address := func(operator string) string { return "/api/v1/habits?operator=" + url.QueryEscape(operator) }
	for _, tt := range []struct {
		name, method, path string
		status             int
		answer             string // whole where it is no problem
	}{
		{"all", "GET", "/api/v1/habits", 200,
			`{"habits":[{"operator":"Ada Löf & Co","material":"harbour-clear","part":"A","pours":1,"stop_lag_s":0.9},` + bo + `],"next":null}`},
		{"nobody is named", "DELETE", "/api/v1/habits", 400, "operator"},
		{"an empty name", "DELETE", "/api/v1/habits?operator=", 400, "operator"},
		{"a misspelt name", "DELETE", address("Adda"), 404, "Adda"},
		{"one of them", "DELETE", address("Ada Löf & Co"), 204, ""},
		{"the same again", "DELETE", address("Ada Löf & Co"), 404, "not found"},
		{"the other is there", "GET", "/api/v1/habits", 200, `{"habits":[` + bo + `],"next":null}`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h.t = t
			status, body := h.ask(tt.method, tt.path, "")
			require.Equal(t, tt.status, status, body)
			switch {
			case status == http.StatusOK:
				require.JSONEq(t, tt.answer, body)
			case status == http.StatusNoContent:
				require.Empty(t, body)
			default:
				require.Contains(t, body, tt.answer)
			}
		})
	}
}

func TestAPageOfAnotherOriginForgetsNobody(t *testing.T) {
	h := newHouse(t, nil)
	h.knows("Bo")
	r, err := http.NewRequest("DELETE", h.http.URL+"/api/v1/habits?operator=Bo", nil)
	require.NoError(t, err)
	r.Header.Set("Origin", "http://elsewhere.example")
	status, _ := h.send(r)
	require.Equal(t, 403, status)
	_, body := h.ask("GET", "/api/v1/habits", "")
	require.Contains(t, body, "Bo")
}

func TestNoMetricNamesAnOperator(t *testing.T) {
	h := newHouse(t, nil)
	h.knows("Ottoline")
	h.t = t
	status, body := h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"operator":"Ottoline"}`)
	require.Equal(t, 201, status, body)
	_, _, metrics := h.page("/metrics")
	require.Contains(t, metrics, "twocup_")
	require.NotContains(t, metrics, "Ottoline")
	require.NotContains(t, metrics, "habit")
}
