package dashboard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"

	"twocup/station"
	"twocup/station/plan"
)

// startPage is the page on which a batch is started at a station.
func (s *Server) startPage(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.station(r); err != nil {
		return err
	}
	serveFile(w, r, "start.html")
	return nil
}

// newCard stands in an address for the card that is not there yet. No id has such a sign.
const newCard = "+"

// materialPage is the page of one card, which it reads from the API.
func (s *Server) materialPage(w http.ResponseWriter, r *http.Request) error {
	if id := r.PathValue("id"); id != newCard {
		if _, err := s.cfg.Ledger.Material(r.Context(), id); err != nil {
			return err
		}
	}
	serveFile(w, r, "material.html")
	return nil
}

// order is what a batch is started from: a station's order, or a batch that is made once more.
type order struct {
	station.Order
	Cup   json.RawMessage `json:"cup"`
	Mould json.RawMessage `json:"mould"`
	Again *string         `json:"again"`
}

func (s *Server) startBatch(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	o, err := decode[order](w, r)
	if err != nil {
		return err
	}
	switch {
	case o.Mould != nil:
		return &station.BadOrder{Field: "mould", Detail: `"mould" is not built yet: leave it out`}
	case o.Again != nil && (o.Cup != nil || !reflect.DeepEqual(o.Order, station.Order{Revision: o.Revision})):
		return &station.BadOrder{Field: "again", Detail: `"again" is all of that batch's order and stands alone, but for a revision: leave the other fields out, or give the whole order without it`}
	case o.Again != nil:
		seen := o.Revision
		o.Order, err = st.Again(r.Context(), *o.Again)
		o.Revision = seen
	default:
		o.Order.Cup, err = cupOf(o.Cup)
	}
	if err != nil {
		return err
	}
	record, err := st.StartBatch(r.Context(), o.Order)
	if err != nil {
		return err
	}
	w.Header().Set("Location", "/api/v1/batches/"+record.ID)
	return reply(w, http.StatusCreated, record)
}

// cupOf reads what is known of a cup; nil where nothing is said of one.
func cupOf(raw json.RawMessage) (*plan.Cup, error) {
	if len(raw) == 0 || string(raw) == "null" {
		return nil, nil
	}
	if raw[0] == '"' {
		return nil, &station.BadOrder{Field: "cup", Detail: `a cup by its id is not built yet: give {"volume_ml":…, "mass_g":…}`}
	}
	cup := &plan.Cup{}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(cup); err != nil {
		return nil, &station.BadOrder{Field: "cup", Detail: fmt.Sprintf(`the cup can't be read: %v; give {"volume_ml":…, "mass_g":…}`, err)}
	}
	return cup, nil
}
