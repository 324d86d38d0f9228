package dashboard

import (
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station"
)

func (h *house) page(path string) (status int, kind, text string) {
	h.t.Helper()
	response, err := http.Get(h.http.URL + path)
	require.NoError(h.t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	require.NoError(h.t, err)
	return response.StatusCode, response.Header.Get("Content-Type"), string(body)
}

func TestTheRecordsHavePages(t *testing.T) {
	h := newHouse(t, nil)
	h.scale.say(t, "ST,GS,+00000.0  g")
	status, answer := h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300}}`)
	require.Equal(t, http.StatusCreated, status, answer)
	var record station.Record
	require.NoError(t, json.Unmarshal([]byte(answer), &struct{ ID *string }{&record.ID}))

	for _, tt := range []struct {
		name, path string
		status     int
		kind, says string
	}{
		{"the list", "/records", 200, "text/html; charset=utf-8", `id="batches"`},
		{"the list with filters in its address", "/records?verdict=within&cursor=x", 200, "text/html; charset=utf-8", `id="batches"`},
		{"a batch", "/records/" + record.ID, 200, "text/html; charset=utf-8", `id="plot"`},
		{"no batch", "/records/nope", 404, "application/problem+json", "nope"},
		{"the way there from the stations", "/", 200, "text/html; charset=utf-8", `href="/records"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			status, kind, text := h.page(tt.path)
			require.Equal(t, tt.status, status)
			require.Equal(t, tt.kind, kind)
			require.Contains(t, text, tt.says)
		})
	}
}

// The content security policy lets nothing inline run: a page that has any would be dead or unstyled in part.
func TestThePagesOfTheRecordsBringNothingInlineAndNothingFromElsewhere(t *testing.T) {
	h := newHouse(t, nil)
	for _, name := range []string{"records.html", "record.html"} {
		_, _, text := h.page("/static/" + name)
		require.NotRegexp(t, `(?i)<style|\sstyle=|\son\w+=|<script[^>]*>[^<]|//`, strings.TrimPrefix(text, "<!doctype html>"))
		files := regexp.MustCompile(`(?:src|href)="(/static/[^"]+)"`).FindAllStringSubmatch(text, -1)
		require.Len(t, files, 4)
		for _, file := range files {
			status, _, _ := h.page(file[1])
			require.Equal(t, 200, status, file[1])
		}
	}
}
