package dashboard

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"twocup/station"
)

const card = `{"id":"quay-grey","name":"Quay grey","ratio":{"weight":{"a":100,"b":50}},"pot_life":{"time":"20m"}}`

// Everything that the mux answers under /api/v1 is described, and nothing else is.
func TestTheDescriptionNamesEveryRoute(t *testing.T) {
	h := newHouse(t, func(string, float64) error { return nil })
	var described, answered []string
	for path, item := range readDescription(t).Paths.Map() {
		for method := range item.Operations() {
			described = append(described, method+" "+path)
		}
	}
	for pattern := range h.server.routes() {
		if strings.Contains(pattern, "/api/v1/") {
			answered = append(answered, pattern)
		}
	}
	slices.Sort(described)
	slices.Sort(answered)
	require.Equal(t, described, answered)
}

func TestAnswersAreAsDescribed(t *testing.T) {
	h := newHouse(t, nil)
	order := `{"material":"harbour-clear","amount":{"total_g":300},"lots":{"A":["x","x"],"B":["y"]}}`
	for _, tt := range []struct {
		name, method, path, body string
		status                   int
		says                     string
	}{
		{"all stations", "GET", "/api/v1/stations", "", 200, `"stations":[`},
		{"one station", "GET", "/api/v1/stations/bench-1", "", 200, `"demo":false`},
		{"an unknown station", "GET", "/api/v1/stations/bench-9", "", 404, "bench-9"},
		{"an unknown path", "GET", "/api/v1/nothing", "", 404, "/api/v1/nothing"},
		{"what is not built yet", "GET", "/api/v1/clocks", "", 404, "/api/v1/clocks"},
		{"a wrong method", "DELETE", "/api/v1/stations", "", 405, "GET"},
		{"the demo's hand outside the demo", "POST", "/api/v1/demo/hand", `{"do":"cup"}`, 404, ""},
		{"materials", "GET", "/api/v1/materials", "", 200, `"ratio_text":"A 100 : B 50 by weight"`},
		{"a card", "POST", "/api/v1/materials", card, 201, `"revision":1`},
		{"the same card again", "POST", "/api/v1/materials", card, 409, "quay-grey"},
		{"one card", "GET", "/api/v1/materials/quay-grey", "", 200, `"sentence":"for every 100 g of A, 50 g of B: B is half of A"`},
		{"an unknown card", "GET", "/api/v1/materials/nope", "", 404, "nope"},
		{"a changed card", "PUT", "/api/v1/materials/quay-grey", strings.Replace(card, "20m", "21m", 1), 200, `"revision":2`},
		{"a card put back as it was got", "PUT", "/api/v1/materials/quay-grey", strings.Replace(card, "{", `{"revision":2,"ratio_text":"x","sentence":"y",`, 1), 200, `"revision":3`},
		{"another card's text", "PUT", "/api/v1/materials/harbour-clear", card, 400, `"field":"id"`},
		{"a changed card that was never there", "PUT", "/api/v1/materials/nope", strings.Replace(card, "quay-grey", "nope", 1), 404, "nope"},
		{"a plan without a scale", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":300}}`, 200, `"uncertainty_pct":null`},
		{"a plan by a station's scale", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":300},"station":"bench-1"}`, 200, `"provable_g":69.7`},
		{"a plan that says stop is a plan", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":3},"station":"bench-1"}`, 200, `"level":"stop"`},
		{"a plan in four cups", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":1200},"split":4}`, 200, `"batch_total_g":1200`},
		{"a plan in no cup", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":1200},"split":0}`, 400, "split"},
		{"a plan for an unknown station", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"total_g":300},"station":"bench-9"}`, 400, "bench-9"},
		{"a plan of an unknown material", "POST", "/api/v1/plan", `{"material":"nope","amount":{"total_g":300}}`, 400, "nope"},
		{"a plan by a volume without density", "POST", "/api/v1/plan", `{"material":"quay-grey","amount":{"volume_ml":300}}`, 400, "density"},
		{"a plan with a cup", "POST", "/api/v1/plan", `{"material":"harbour-clear","amount":{"total_g":300},"cup":{"volume_ml":400},"temperature_c":20}`, 200, `"id":"cup_volume"`},
		{"a plan with a cup that is too small", "POST", "/api/v1/plan", `{"material":"harbour-clear","amount":{"total_g":300},"cup":{"volume_ml":400,"mass_g":15}}`, 200, `"level":"stop"`},
		{"a plan with a cup by its id", "POST", "/api/v1/plan", `{"material":"harbour-clear","amount":{"total_g":300},"cup":"blue"}`, 400, "not built yet"},
		{"a plan with a cup of another kind", "POST", "/api/v1/plan", `{"material":"harbour-clear","amount":{"total_g":300},"cup":{"colour":1}}`, 400, "colour"},
		{"a card with faults", "POST", "/api/v1/materials", `{"id":"X Y","ratio":{}}`, 400, `"field":"name"`},
		{"a card that is no JSON", "POST", "/api/v1/materials", `{`, 400, ""},
		{"a body that is too long", "POST", "/api/v1/materials", strings.Repeat(" ", maxBody+1), 413, ""},
		{"live without an upgrade", "GET", "/api/v1/stations/bench-1/live", "", 400, "websocket"},
		{"an order for nothing", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{}}`, 400, "exactly one"},
		{"an order for two amounts", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":1,"part_a_g":1}}`, 400, "exactly one"},
		{"an order for 1e300 g", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":1e300}}`, 400, "9223 kg"},
		{"an order beyond the scale", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":7000}}`, 400, "capacity"},
		{"an order of an unknown material", "POST", "/api/v1/stations/bench-1/batches", `{"material":"nope","amount":{"total_g":300}}`, 400, "nope"},
		{"an order at an unknown station", "POST", "/api/v1/stations/bench-9/batches", order, 404, "bench-9"},
		{"an unknown name in an order", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"colour":"red"}`, 400, "colour"},
		{"a name twice in an order", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300,"total_g":30}}`, 400, `total_g\" stands there twice`},
		{"a name in another case", "POST", "/api/v1/plan", `{"material":"harbour-clear","amount":{"Total_g":300}}`, 400, "Total_g"},
		{"a lot in another case", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"lots":{"a":["x"]}}`, 400, "no part"},
		{"a lot twice", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"lots":{"A":["x"],"A":["y"]}}`, 400, "twice"},
		{"what is not built in an order", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"split":4}`, 400, "not built yet"},
		{"an order in a cup that the scale can't carry", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"cup":{"mass_g":5800}}`, 400, "cup 5800 g + mix 300 g = 6100 g"},
		{"an order in a cup by its id", "POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"cup":"blue"}`, 400, "not built yet"},
		{"an order from a mould", "POST", "/api/v1/stations/bench-1/batches", `{"mould":"m"}`, 400, "not built yet"},
		{"an order like a batch that never was", "POST", "/api/v1/stations/bench-1/batches", `{"again":"nope"}`, 400, `"field":"again"`},
		{"an order like a batch with more beside it", "POST", "/api/v1/stations/bench-1/batches", `{"again":"nope","operator":"x"}`, 400, "stands alone"},
		{"two values in a body", "POST", "/api/v1/stations/bench-1/batches", order + order, 400, ""},
		{"an order", "POST", "/api/v1/stations/bench-1/batches", order, 201, `"phase":"cup"`},
		{"a second order", "POST", "/api/v1/stations/bench-1/batches", order, 409, "another batch"},
		{"batches", "GET", "/api/v1/batches", "", 200, `"material":"harbour-clear"`},
		{"batches of another material", "GET", "/api/v1/batches?material=quay-grey", "", 200, `"batches":[]`},
		{"batches since tomorrow", "GET", "/api/v1/batches?from=" + time.Now().Add(24*time.Hour).UTC().Format(time.RFC3339), "", 200, `"batches":[]`},
		{"batches of one station", "GET", "/api/v1/batches?station=bench-1&limit=1", "", 200, `"amount":{"total_g":300}`},
		{"batches of another station", "GET", "/api/v1/batches?station=bench-9", "", 200, `"batches":[]`},
		{"a page of no batches", "GET", "/api/v1/batches?limit=0", "", 400, "limit"},
		{"an unreadable filter", "GET", "/api/v1/batches?from=monday", "", 400, "from"},
		{"an unknown verdict", "GET", "/api/v1/batches?verdict=fine", "", 400, "verdict"},
		{"an unknown batch", "GET", "/api/v1/batches/nope", "", 404, "nope"},
		{"an action on an unknown batch", "POST", "/api/v1/batches/nope/actions", `{"action":"note","text":"x"}`, 404, "nope"},
		{"healthy", "GET", "/healthz", "", 200, "ok"},
		{"ready", "GET", "/readyz", "", 200, "ready"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h.t = t
			if strings.HasPrefix(tt.path, "/api/") {
				status, body := h.ask(tt.method, tt.path, tt.body)
				require.Equal(t, tt.status, status, body)
				require.Contains(t, body, tt.says)
				return
			}
			response, err := http.Get(h.http.URL + tt.path)
			require.NoError(t, err)
			defer response.Body.Close()
			require.Equal(t, tt.status, response.StatusCode)
		})
	}
}

func TestACardThatIsNotBuiltYetIsKeptAndRefusedAtTheStart(t *testing.T) {
	for name, field := range map[string]string{
		"apart":  `"combine":"apart"`,
		"hurry":  `"hurry":true`,
		"volume": `"measure_b":"volume","density":{"b":0.98}`,
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, nil)
			ratio := `"ratio":{"weight":{"a":100,"b":50}},`
			if name == "b_range" {
				ratio = ""
			}
			status, body := h.ask("POST", "/api/v1/materials", `{"id":"later","name":"Later",`+ratio+field+`}`)
			require.Equal(t, 201, status, body)
			status, body = h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"later","amount":{"total_g":300}}`)
			require.Equal(t, 400, status)
			require.Contains(t, body, "not built yet")
		})
	}
}

// start begins a batch and returns its id.
func (h *house) start() string {
	status, body := h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300}}`)
	require.Equal(h.t, 201, status, body)
	var record struct{ ID string }
	require.NoError(h.t, json.Unmarshal([]byte(body), &record))
	return record.ID
}

func (h *house) snapshot() station.Snapshot {
	_, body := h.ask("GET", "/api/v1/stations/bench-1", "")
	var snap station.Snapshot
	require.NoError(h.t, json.Unmarshal([]byte(body), &snap))
	return snap
}

func TestAnActionMeantForAnotherStateDoesNothing(t *testing.T) {
	h := newHouse(t, nil)
	before := h.snapshot().Seq
	id := h.start()
	act := func(body string) int {
		status, _ := h.ask("POST", "/api/v1/batches/"+id+"/actions", body)
		return status
	}
	seq := h.snapshot().Seq
	require.Equal(t, 409, act(fmt.Sprintf(`{"action":"note","text":"x","seq":%d}`, before)), "seen before the batch began")
	require.Equal(t, 409, act(`{"action":"note","text":"x","phase":"pour"}`))
	require.Equal(t, 409, act(`{"action":"note","text":"x","part":"A"}`))
	require.Equal(t, 409, act(`{"action":"accept"}`))
	require.Equal(t, 400, act(`{"action":"dance"}`))
	require.Equal(t, 400, act(`{"action":"park"}`))
	require.Equal(t, 400, act(`{"action":"note"}`))
	require.Equal(t, 400, act(`{"action":"abandon"}`), "a reason is missing")
	require.Equal(t, 200, act(fmt.Sprintf(`{"action":"note","text":"x","seq":%d,"phase":"cup"}`, seq)))
	require.Equal(t, 200, act(fmt.Sprintf(`{"action":"note","text":"x","seq":%d}`, seq)), "a note is no change of state")
	require.Equal(t, 200, act(`{"action":"abandon","reason":"wrong jug"}`))
	require.Nil(t, h.snapshot().Batch, "the station is free at once")
	require.Equal(t, 409, act(`{"action":"abandon","reason":"again"}`))

	_, body := h.ask("GET", "/api/v1/batches/"+id, "")
	require.Contains(t, body, `"phase":"abandoned"`)
	require.Contains(t, body, `"reason":"wrong jug"`)
}

func TestTheBatchesComeInPages(t *testing.T) {
	h := newHouse(t, nil)
	for range 51 {
		id := h.start()
		status, _ := h.ask("POST", "/api/v1/batches/"+id+"/actions", `{"action":"abandon","reason":"test"}`)
		require.Equal(t, 200, status)
	}
	var page struct {
		Batches []struct{ ID string }
		Next    *string
	}
	_, body := h.ask("GET", "/api/v1/batches", "")
	require.NoError(t, json.Unmarshal([]byte(body), &page))
	require.Len(t, page.Batches, 50)
	last := page.Batches[49].ID
	_, body = h.ask("GET", "/api/v1/batches?cursor="+*page.Next, "")
	require.NoError(t, json.Unmarshal([]byte(body), &page))
	require.Len(t, page.Batches, 1)
	require.Less(t, page.Batches[0].ID, last)
	require.Nil(t, page.Next)
}

func TestAPageOfAnotherOriginIsKeptOut(t *testing.T) {
	h := newHouse(t, nil)
	request := func(method, path, header, value string) *http.Request {
		r, err := http.NewRequest(method, h.http.URL+path, strings.NewReader(`{}`))
		require.NoError(t, err)
		r.Header.Set(header, value)
		return r
	}
	status, _ := h.send(request("POST", "/api/v1/materials", "Origin", "https://elsewhere.example"))
	require.Equal(t, 403, status)
	status, _ = h.send(request("POST", "/api/v1/materials", "Sec-Fetch-Site", "cross-site"))
	require.Equal(t, 403, status)
	rebound := request("GET", "/api/v1/stations", "Accept", "*/*")
	rebound.Host = "elsewhere.example:8280"
	status, _ = h.send(rebound)
	require.Equal(t, 403, status, "a name of theirs that points here")

	live := "ws" + strings.TrimPrefix(h.http.URL, "http") + "/api/v1/stations/bench-1/live"
	_, response, err := websocket.DefaultDialer.Dial(live, http.Header{"Origin": {"https://elsewhere.example"}})
	require.Error(t, err)
	require.Equal(t, 403, response.StatusCode)
	require.Equal(t, "application/problem+json", response.Header.Get("Content-Type"))
}

func TestTheDemosHandIsMovedByTheAPI(t *testing.T) {
	var moved string
	h := newHouse(t, func(do string, tip float64) error {
		if do == "lift" {
			return fmt.Errorf("the pan is empty")
		}
		moved = fmt.Sprint(do, tip)
		return nil
	})
	status, _ := h.ask("POST", "/api/v1/demo/hand", `{"do":"tip","tip":0.4}`)
	require.Equal(t, 200, status)
	require.Equal(t, "tip0.4", moved)
	for body, want := range map[string]int{`{"do":"wave"}`: 400, `{"do":"tip","tip":2}`: 400, `{"do":"lift"}`: 409, `{"tip":1}`: 400} {
		status, _ = h.ask("POST", "/api/v1/demo/hand", body)
		require.Equal(t, want, status, body)
	}
	_, body := h.ask("GET", "/api/v1/stations/bench-1", "")
	require.Contains(t, body, `"demo":true`)
}

func TestStaticFilesAreAskedForAgainAndSentOnce(t *testing.T) {
	h := newHouse(t, nil)
	get := func(path, tag string) *http.Response {
		r, err := http.NewRequest("GET", h.http.URL+path, nil)
		require.NoError(t, err)
		r.Header.Set("If-None-Match", tag)
		response, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		response.Body.Close()
		return response
	}
	first := get("/bench/bench-1", "")
	require.Equal(t, 200, first.StatusCode)
	require.Equal(t, "no-cache", first.Header.Get("Cache-Control"))
	require.Contains(t, first.Header.Get("Content-Security-Policy"), "default-src 'self'")
	require.Equal(t, 304, get("/bench/bench-1", first.Header.Get("ETag")).StatusCode)
	require.Equal(t, 404, get("/bench/bench-9", "").StatusCode)
	require.Equal(t, 404, get("/static/../server.go", "").StatusCode)
	require.Equal(t, 200, get("/", "").StatusCode)
}
