package dashboard

import (
	"encoding/json"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/station"
	"twocup/station/batch"
	"twocup/station/plan"
)

// started is a record without its events.
type started struct {
	batch.View
	Operator string
	Lots     map[string][]string
	Practice bool
	Amount   *plan.Amount
	Again    *batch.Again
	Plan     plan.Plan
}

func (h *house) order(body string) started {
	h.t.Helper()
	status, answer := h.ask("POST", "/api/v1/stations/bench-1/batches", body)
	require.Equal(h.t, 201, status, answer)
	var r started
	require.NoError(h.t, json.Unmarshal([]byte(answer), &r))
	return r
}

func (h *house) abandon(id string) {
	h.t.Helper()
	status, answer := h.ask("POST", "/api/v1/batches/"+id+"/actions", `{"action":"abandon","reason":"test"}`)
	require.Equal(h.t, 200, status, answer)
}

func TestABatchIsMadeAgain(t *testing.T) {
	h := newHouse(t, nil)
	first := h.order(`{"material":"limpet-skin","amount":{"volume_ml":200,"allowance_pct":10},"operator":"Ida","practice":true,
		"lots":{"A":["a1","a2"],"B":["b1"]},"cup":{"volume_ml":1000,"mass_g":12.3},"temperature_c":23}`)
	require.Nil(t, first.Again)
	h.abandon(first.ID)
	second := h.order(`{"again":"` + first.ID + `"}`)
	require.NotEqual(t, first.ID, second.ID)
	require.Equal(t, first.Amount, second.Amount)
	require.Equal(t, "Ida", second.Operator)
	require.True(t, second.Practice)
	require.Equal(t, first.Lots, second.Lots)
	require.Equal(t, first.Plan.Parts, second.Plan.Parts)
	require.Equal(t, first.Plan.Cup, second.Plan.Cup)
	require.Nil(t, second.Plan.TemperatureC, "yesterday's temperature is not today's")
	require.Equal(t, first.ID, second.Again.Batch)
	require.Equal(t, 1, second.Again.Revision)
	h.abandon(second.ID)

	// A card changed since is used as it is now, and the record says which it was.
	status, card := h.ask("GET", "/api/v1/materials/limpet-skin", "")
	require.Equal(t, 200, status)
	var fields map[string]any
	require.NoError(t, json.Unmarshal([]byte(card), &fields))
	fields["ratio"] = map[string]any{"weight": map[string]any{"a": 100, "b": 20}}
	changed, err := json.Marshal(fields)
	require.NoError(t, err)
	status, answer := h.ask("PUT", "/api/v1/materials/limpet-skin", string(changed))
	require.Equal(t, 200, status, answer)
	for _, body := range []string{`{"again":"` + second.ID + `","revision":1}`, `{"material":"limpet-skin","revision":1,"amount":{"total_g":300}}`} {
		status, answer = h.ask("POST", "/api/v1/stations/bench-1/batches", body)
		require.Equal(t, 409, status, answer)
		require.Contains(t, answer, "is revision 2, and 1 was looked at")
	}
	third := h.order(`{"again":"` + second.ID + `","revision":2}`)
	require.Equal(t, 1, third.Again.Revision)
	require.Equal(t, 2, third.Plan.Revision)
	require.Equal(t, 0.2, third.Plan.RatioBPerA)
}

func TestAChosenShareOfBIsMadeAgain(t *testing.T) {
	h := newHouse(t, nil)
	first := h.order(`{"material":"gannet-laminate","amount":{"part_a_g":1000},"b_per_100_a":2}`)
	h.abandon(first.ID)
	require.Equal(t, 0.02, h.order(`{"again":"`+first.ID+`"}`).Plan.RatioBPerA)
}

func TestACupThatIsTooSmallIsAskedAbout(t *testing.T) {
	h := newHouse(t, nil)
	r := h.order(`{"material":"harbour-clear","amount":{"total_g":300},"cup":{"volume_ml":400}}`)
	require.Equal(t, []string{"cup_volume"}, r.Plan.OpenChecks())
	require.Equal(t, "wait", string(r.Cue))
	status, answer := h.ask("POST", "/api/v1/batches/"+r.ID+"/actions", `{"action":"override","check":"cup_volume","reason":"no vacuum today","operator":"Ida"}`)
	require.Equal(t, 200, status, answer)
}

// Records and habits are kept by the name: one that looks like another's, or that a terminal takes as a command, is none.
func TestAnOperatorIsANameThatCanBeRead(t *testing.T) {
	h := newHouse(t, nil)
	for _, name := range []string{`Ada `, `\u00a0Ada`, `A\nda`, `\u001b[31mAda`, `A\u200bda`, `A\u202eda`} {
		status, answer := h.ask("POST", "/api/v1/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":300},"operator":"`+name+`"}`)
		require.Equal(t, 400, status, name)
		require.Contains(t, answer, `"field":"operator"`, name)
	}
	require.Equal(t, "Zoë O’Neil-Løv 李", h.order(`{"material":"harbour-clear","amount":{"total_g":300},"operator":"Zoë O’Neil-Løv 李"}`).Operator)
}

func TestAScannedCode(t *testing.T) {
	h := newHouse(t, nil)
	id := h.start()
	for _, tt := range []struct {
		name, body string
		status     int
		says       string
	}{
		{"without its code", `{"action":"scanned"}`, 400, "code"},
		{"of the part at hand, which has nothing to begin", `{"action":"scanned","code":"DEMO-HARBOUR-A"}`, 409, "part A is at hand already"},
		{"of another part", `{"action":"scanned","code":"DEMO-HARBOUR-B"}`, 409, "part B, and A is next"},
		{"that no card knows", `{"action":"scanned","code":"4006381333931"}`, 404, "no card knows"},
		{"of an action that is not built", `{"action":"scanned","code":"twocup:park"}`, 400, "is not built yet"},
		{"of an action that there is none of", `{"action":"scanned","code":"twocup:juggle"}`, 400, "juggle"},
		{"of a scan", `{"action":"scanned","code":"twocup:scanned"}`, 400, "code"},
		{"of an action that does not fit", `{"action":"scanned","code":"twocup:b_begins"}`, 409, "no part can begin now"},
		{"of an action that fits", `{"action":"scanned","code":"twocup:abandon","reason":"test"}`, 200, `"phase":"abandoned"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h.t = t
			status, body := h.ask("POST", "/api/v1/batches/"+id+"/actions", tt.body)
			require.Equal(t, tt.status, status, body)
			require.Contains(t, body, tt.says)
		})
	}
	h.t = t
	id = h.order(`{"material":"cobble-rubber","amount":{"total_g":300}}`).ID
	status, body := h.ask("POST", "/api/v1/batches/"+id+"/actions", `{"action":"scanned","code":"DEMO-HARBOUR-B"}`)
	require.Equal(t, 409, status, body)
	require.Contains(t, body, "another material")
}

func TestThePagesOfTheStart(t *testing.T) {
	h := newHouse(t, nil)
	for path, want := range map[string]int{
		"/start/bench-1": 200, "/start/bench-9": 404, "/materials": 200, "/materials/harbour-clear": 200, "/materials/+": 200, "/materials/nope": 404,
	} {
		response, err := http.Get(h.http.URL + path)
		require.NoError(t, err)
		response.Body.Close()
		require.Equal(t, want, response.StatusCode, path)
	}
}

// What is read as a cup is what was written: it comes out of its own JSON again, or it is refused with the field's name.
func FuzzCup(f *testing.F) {
	for _, seed := range []string{`{"volume_ml":400,"mass_g":12.3}`, `{}`, `null`, `"blue"`, `[]`, `{"mass_g":1e300}`, `{"volume_ml":1}{}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if !json.Valid(raw) {
			t.Skip() // the body has been read as JSON before
		}
		cup, err := cupOf(raw)
		var bad *station.BadOrder
		if err != nil {
			require.ErrorAs(t, err, &bad)
			require.Equal(t, "cup", bad.Field)
			return
		}
		if cup == nil {
			require.Equal(t, "null", string(raw))
			return
		}
		text, err := json.Marshal(cup)
		require.NoError(t, err)
		again, err := cupOf(text)
		require.NoError(t, err)
		require.Equal(t, cup, again)
	})
}
