package dashboard

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"twocup/station"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/metrology"
	"twocup/station/plan"
)

// stationView is a snapshot with what does not change.
type stationView struct {
	station.Snapshot
	Name    string `json:"name"`
	Version string `json:"version"`
	Demo    bool   `json:"demo"`
	Keys    keys   `json:"keys"`
}

// keys of the keyboard that work a station's display.
type keys struct {
	Pedal string `json:"pedal"`
}

func (s *Server) station(r *http.Request) (*station.Station, error) {
	if h := s.hubs[r.PathValue("id")]; h != nil {
		return h.station, nil
	}
	return nil, problem(http.StatusNotFound, "there is no station %q", r.PathValue("id"))
}

func (s *Server) view(r *http.Request, st *station.Station) (stationView, error) {
	snap, err := st.Snapshot(r.Context())
	return stationView{Snapshot: snap, Name: st.Name(), Version: s.cfg.Version, Demo: s.cfg.Hand != nil, Keys: keys{st.Pedal()}}, err
}

func (s *Server) listStations(w http.ResponseWriter, r *http.Request) error {
	list := make([]stationView, len(s.cfg.Stations))
	for i, st := range s.cfg.Stations {
		var err error
		if list[i], err = s.view(r, st); err != nil {
			return err
		}
	}
	return reply(w, http.StatusOK, map[string]any{"stations": list})
}

func (s *Server) getStation(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	v, err := s.view(r, st)
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, v)
}

// materialView is a stored card with its ratio in words, so that a page shows it without doing arithmetic of its own.
type materialView struct {
	material.Stored
	RatioText string `json:"ratio_text"`
	Sentence  string `json:"sentence"`
}

func viewMaterial(m material.Stored) materialView {
	return materialView{Stored: m, RatioText: m.RatioText(), Sentence: m.Sentence()}
}

func (s *Server) listMaterials(w http.ResponseWriter, r *http.Request) error {
	cards, err := s.cfg.Ledger.Materials(r.Context())
	if err != nil {
		return err
	}
	list := make([]materialView, len(cards))
	for i, c := range cards {
		list[i] = viewMaterial(c)
	}
	return reply(w, http.StatusOK, map[string]any{"materials": list, "next": nil})
}

func (s *Server) addMaterial(w http.ResponseWriter, r *http.Request) error {
	b, err := body(w, r)
	if err != nil {
		return err
	}
	card, err := material.Decode(b)
	if err != nil {
		return err
	}
	stored, err := s.cfg.Ledger.AddMaterial(r.Context(), card, time.Now())
	if err != nil {
		return err
	}
	w.Header().Set("Location", "/api/v1/materials/"+stored.ID)
	return reply(w, http.StatusCreated, viewMaterial(stored))
}

func (s *Server) getMaterial(w http.ResponseWriter, r *http.Request) error {
	stored, err := s.cfg.Ledger.Material(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, viewMaterial(stored))
}

// putMaterial makes the next revision of a card.
func (s *Server) putMaterial(w http.ResponseWriter, r *http.Request) error {
	b, err := body(w, r)
	if err != nil {
		return err
	}
	card, err := material.Decode(withoutView(b))
	if err != nil {
		return err
	}
	if id := r.PathValue("id"); card.ID != id {
		return material.Faults{{Field: "id", Detail: fmt.Sprintf("is %q, and the address says %q: a card keeps its id", card.ID, id)}}
	}
	stored, err := s.cfg.Ledger.ReviseMaterial(r.Context(), card, time.Now())
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, viewMaterial(stored))
}

// withoutView takes off what an answer has beside the card, so that what was got can be put back.
func withoutView(b []byte) []byte {
	var fields map[string]json.RawMessage
	if json.Unmarshal(b, &fields) != nil {
		return b // Decode says why
	}
	before := len(fields)
	for _, name := range []string{"revision", "ratio_text", "sentence"} {
		delete(fields, name)
	}
	if len(fields) == before {
		return b
	}
	stripped, _ := json.Marshal(fields) // of what was JSON
	return stripped
}

// planOrder asks for a plan; with a station it is for that station's scale.
type planOrder struct {
	station.Order
	Cup     json.RawMessage `json:"cup"`
	Station *string         `json:"station"`
	Mould   json.RawMessage `json:"mould"`
}

func (s *Server) plan(w http.ResponseWriter, r *http.Request) error {
	o, err := decode[planOrder](w, r)
	if err != nil {
		return err
	}
	if o.Mould != nil {
		return &station.BadOrder{Field: "mould", Detail: `"mould" is not built yet: leave it out`}
	}
	if o.Order.Cup, err = cupOf(o.Cup); err != nil {
		return err
	}
	var scales []plan.Scale
	if o.Station != nil {
		h := s.hubs[*o.Station]
		if h == nil {
			return &station.BadOrder{Field: "station", Detail: fmt.Sprintf("there is no station %q", *o.Station)}
		}
		scales = append(scales, h.station.Scale())
	}
	request, err := o.Request(r.Context(), s.cfg.Ledger, scales)
	if err != nil {
		return err
	}
	p, err := request.Plan()
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, p)
}

func (s *Server) listBatches(w http.ResponseWriter, r *http.Request) error {
	q, err := readQuery(r.URL.Query())
	if err != nil {
		return err
	}
	ids, next, err := s.cfg.Ledger.Batches(r.Context(), q)
	if err != nil {
		return err
	}
	list := make([]station.Record, len(ids))
	for i, id := range ids {
		if list[i], err = s.record(r, id); err != nil {
			return err
		}
	}
	answer := map[string]any{"batches": list, "next": nil}
	if next != "" {
		answer["next"] = next
	}
	return reply(w, http.StatusOK, answer)
}

// maxPage is the most batches on a page, and how many there are where nothing is said.
const maxPage = 50

func readQuery(v url.Values) (q ledger.Query, err error) {
	for name := range v {
		value := v.Get(name)
		switch name {
		case "from":
			q.From, err = time.Parse(time.RFC3339, value)
		case "to":
			q.To, err = time.Parse(time.RFC3339, value)
		case "material":
			q.Material = value
		case "verdict":
			q.Verdict = value
			switch metrology.Verdict(value) {
			case metrology.Within, metrology.Unproven, metrology.Outside:
			default:
				err = fmt.Errorf("it is within, unproven or outside")
			}
		case "station":
			q.Station = value
		case "cursor":
			q.Cursor = value
		case "limit":
			if q.Limit, err = strconv.Atoi(value); err != nil || q.Limit < 1 || q.Limit > maxPage {
				err = fmt.Errorf("it is a whole number from 1 to %d", maxPage)
			}
		default:
			err = fmt.Errorf("there is no such filter (from, to, material, verdict, station, cursor, limit)")
		}
		if err != nil {
			return q, problem(http.StatusBadRequest, "%s=%q: %v", name, value, err)
		}
	}
	return q, nil
}

// record of a batch, live where it is on a scale.
func (s *Server) record(r *http.Request, id string) (station.Record, error) {
	st, err := s.holder(r, id)
	if err != nil {
		return station.Record{}, err
	}
	return st.Record(r.Context(), id)
}

// holder is the station that a batch was started at. Where that is no longer configured any will do: what is off the
// scale stands in the ledger that they share.
func (s *Server) holder(r *http.Request, id string) (*station.Station, error) {
	name, err := s.cfg.Ledger.Station(r.Context(), id)
	if err != nil {
		return nil, err
	}
	if h := s.hubs[name]; h != nil {
		return h.station, nil
	}
	return s.cfg.Stations[0], nil
}

func (s *Server) getBatch(w http.ResponseWriter, r *http.Request) error {
	record, err := s.record(r, r.PathValue("id"))
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, record)
}

// getTrace is a batch's mass over time: seconds since its start, and grams as the scale showed them.
func (s *Server) getTrace(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	points, thinned, err := s.cfg.Ledger.Trace(r.Context(), id)
	if err != nil {
		return err
	}
	entries, err := s.cfg.Ledger.Entries(r.Context(), id)
	if err != nil {
		return err
	}
	started := entries[0].At
	points = slices.DeleteFunc(points, func(p ledger.TracePoint) bool { return p.At.Before(started) })
	answer := struct {
		Points  [][2]json.Number `json:"points"`
		Thinned bool             `json:"thinned"`
	}{make([][2]json.Number, len(points)), thinned}
	for i, p := range points {
		answer.Points[i] = [2]json.Number{
			json.Number(strconv.FormatFloat(p.At.Sub(started).Seconds(), 'f', 3, 64)),
			json.Number(strings.TrimSuffix(p.Mass.String(), " g")),
		}
	}
	return reply(w, http.StatusOK, answer)
}

// exportBatches streams the batches wanted as CSV. What goes wrong after the first byte can only end it: then the
// connection is cut, so that half a file is not taken for a whole one.
func (s *Server) exportBatches(w http.ResponseWriter, r *http.Request) error {
	q, err := readQuery(r.URL.Query())
	if err != nil {
		return err
	}
	if q.Cursor != "" || q.Limit != 0 {
		return problem(http.StatusBadRequest, "cursor, limit: an export has no pages")
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="batches.csv"`)
	if err := station.ExportCSV(r.Context(), w, &s.cfg.Ledger.Reader, q); err != nil {
		s.log.Error("export failed", "err", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

// action is a station's action, and the contract's fields of those that are not built yet: they are refused by their
// name and not by their fields.
type action struct {
	station.Action
	Value json.RawMessage `json:"value"`
	Lot   json.RawMessage `json:"lot"`
	Step  json.RawMessage `json:"step"`
}

func (s *Server) act(w http.ResponseWriter, r *http.Request) error {
	a, err := decode[action](w, r)
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	st, err := s.holder(r, id)
	if err != nil {
		return err
	}
	record, err := st.Act(r.Context(), id, a.Action)
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, record)
}

func (s *Server) healthy(w http.ResponseWriter, r *http.Request) error {
	return reply(w, http.StatusOK, map[string]string{"status": "ok"})
}

// ready once the ledger answers and every station runs; a scale that is down is no reason.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) error {
	if err := s.cfg.Ledger.Check(r.Context()); err != nil {
		return problem(http.StatusServiceUnavailable, "the ledger does not answer: %v", err)
	}
	for _, st := range s.cfg.Stations {
		if _, err := st.Snapshot(r.Context()); err != nil {
			return problem(http.StatusServiceUnavailable, "station %q does not answer: %v", st.ID(), err)
		}
	}
	return reply(w, http.StatusOK, map[string]string{"status": "ready"})
}
