package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
)

func entryOf(c scaledrv.Candidate) string { return "shape: " + c.Shape }

// as describes an identification by openapi.yaml's own schema.
func (h *house) asDescribed(v identificationView) {
	h.t.Helper()
	text, err := json.Marshal(v)
	require.NoError(h.t, err)
	var value any
	require.NoError(h.t, json.Unmarshal(text, &value))
	require.NoError(h.t, readDescription(h.t).Components.Schemas["Identification"].Value.VisitJSON(value), string(text))
}

func TestAnIdentificationIsAnsweredAsItStands(t *testing.T) {
	h := newHouse(t, nil)
	id := newIdentification()
	h.asDescribed(id.now())
	require.True(t, id.begin(true, time.Now()))
	require.False(t, id.begin(false, time.Now()), "one at a time")
	id.tell("listening")
	running := id.now()
	h.asDescribed(running)
	require.True(t, running.Running && running.Ask)
	require.NotNil(t, running.For)

	id.tell("asking")
	require.Equal(t, []string{"listening"}, running.Progress, "what was given out stays")
	candidate := scaledrv.Candidate{Baud: 9600, Frame: "8N1", Shape: "bare", Unit: reading.UnitG, Division: reading.Value{Digits: 1, Decimals: 1, Unit: reading.UnitG}}
	id.end(scaledrv.Identification{Candidates: []scaledrv.Candidate{candidate, {Shape: "reversed"}}, Advice: "press TARE", Took: time.Second}, nil, entryOf)
	done := id.now()
	h.asDescribed(done)
	require.False(t, done.Running)
	require.Nil(t, done.For)
	require.Equal(t, []string{"shape: bare", "shape: reversed"}, done.Entries)
	require.Equal(t, []string{"listening", "asking"}, done.Progress)

	require.True(t, id.begin(false, time.Now()))
	require.Nil(t, id.now().Answer, "the one before is over")
	id.end(scaledrv.Identification{}, errors.New("unplugged"), entryOf)
	h.asDescribed(id.now())
	require.Equal(t, "unplugged", *id.now().Error)
}

func TestIdentifyingOverTheAPI(t *testing.T) {
	h := newHouse(t, nil)
	const path = "/api/v1/stations/bench-1/identify"
	status, body := h.ask("GET", path, "")
	require.Equal(t, 200, status)
	require.Contains(t, body, `"started":null`)
	for sent, want := range map[string]int{`{"ask":"yes"}`: 400, `{"loud":true}`: 400, ``: 400} {
		status, body = h.ask("POST", path, sent)
		require.Equal(t, want, status, body)
	}
	status, _ = h.ask("POST", "/api/v1/stations/bench-9/identify", `{}`)
	require.Equal(t, 404, status)

	batch := h.start()
	status, body = h.ask("POST", path, `{}`)
	require.Equal(t, 409, status, body)
	require.Contains(t, body, "a batch is at this station")
	status, _ = h.ask("POST", "/api/v1/batches/"+batch+"/actions", `{"action":"abandon","reason":"test"}`)
	require.Equal(t, 200, status)

	// The scripted scale's line can be opened once only.
	status, body = h.ask("POST", path, `{}`)
	require.Equal(t, 503, status, body)
	_, body = h.ask("GET", path, "")
	require.Contains(t, body, "closed pipe")
}

func TestAnIdentificationIsAloneAndOutlivesWhoAskedForIt(t *testing.T) {
	h := newHouse(t, nil)
	h.scale.hold = make(chan struct{})
	h.scale.say(t, "ST,GS,+00000.0  g") // the driver has opened its line
	const path = "/api/v1/stations/bench-1/identify"
	running := func() (v identificationView) {
		_, body := h.ask("GET", path, "")
		require.NoError(t, json.Unmarshal([]byte(body), &v))
		return v
	}
	ctx, leave := context.WithCancel(t.Context())
	left := make(chan error, 1)
	go func() {
		r, _ := http.NewRequestWithContext(ctx, "POST", h.http.URL+path, strings.NewReader(`{"ask":true}`))
		_, err := http.DefaultClient.Do(r)
		left <- err
	}()
	require.Eventually(t, func() bool { return running().Running }, 10*time.Second, 5*time.Millisecond)
	status, _ := h.ask("POST", path, `{}`)
	require.Equal(t, 409, status)
	require.Eventually(t, func() bool {
		status, body := h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300}}`)
		require.Equal(t, 409, status)
		return strings.Contains(body, "being identified")
	}, 10*time.Second, 5*time.Millisecond)
	leave()
	require.ErrorIs(t, <-left, context.Canceled)
	require.True(t, running().Running, "it goes on without who asked")
	require.True(t, running().Ask)

	close(h.scale.hold)
	require.Eventually(t, func() bool { return !running().Running }, 10*time.Second, 5*time.Millisecond)
	require.NotNil(t, running().Error, "the scripted scale can't be read twice")
	h.start()
}
