package dashboard

import (
	"math"
	"net/http"
	"strconv"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station"
)

// heardView is what has come from one scale, as it is answered.
type heardView struct {
	ID            string              `json:"id"`
	LinkText      *string             `json:"link_text"`
	Shape         string              `json:"shape"`
	Found         *scaledrv.Candidate `json:"found"`
	Division      *reading.Mass       `json:"division_g"`
	Capacity      *reading.Mass       `json:"capacity_g"`
	Link          string              `json:"link"`
	Since         time.Time           `json:"since"`
	Readings      uint64              `json:"readings"`
	Bytes         uint64              `json:"bytes"`
	RejectedBytes uint64              `json:"rejected_bytes"`
	Reconnects    uint64              `json:"reconnects"`
	Rate          *float64            `json:"rate_hz"`
	Lines         []lineView          `json:"lines"`
}

// lineView is one line. What the scale showed with it stands only where it was read.
type lineView struct {
	Number   uint64    `json:"number"`
	At       time.Time `json:"at"`
	Raw      string    `json:"raw"`
	Outcome  string    `json:"outcome"`
	Shown    *string   `json:"shown"`
	Motion   *string   `json:"motion"`
	Kind     *string   `json:"kind"`
	State    *string   `json:"state"`
	Rejected int       `json:"rejected_bytes"`
	Why      *string   `json:"why"`
}

// getLines answers the newest lines of each scale of a station, or of one.
func (s *Server) getLines(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	scale, after, err := readLinesQuery(r)
	if err != nil {
		return err
	}
	heard, err := st.Heard(r.Context(), after)
	if err != nil {
		return err
	}
	views := []heardView{}
	for _, h := range heard {
		if scale == "" || scale == h.Scale.ID {
			views = append(views, viewHeard(h))
		}
	}
	if len(views) == 0 {
		return problem(http.StatusNotFound, "station %q has no scale %q", st.ID(), scale)
	}
	return reply(w, http.StatusOK, map[string]any{"scales": views})
}

func readLinesQuery(r *http.Request) (scale string, after uint64, err error) {
	query := r.URL.Query()
	for name := range query {
		value := query.Get(name)
		switch name {
		case "scale":
			scale = value
		case "after":
			if after, err = strconv.ParseUint(value, 10, 64); err != nil {
				return "", 0, problem(http.StatusBadRequest, "after=%q: it is the number of a line, 0 or more", value)
			}
		default:
			return "", 0, problem(http.StatusBadRequest, "%s=%q: there is no such filter (scale, after)", name, value)
		}
	}
	return scale, after, nil
}

func viewHeard(h station.Heard) heardView {
	v := heardView{
		ID: h.Scale.ID, Shape: h.Shape, Found: h.Found, Link: h.Link.String(), Since: h.Since.UTC().Truncate(time.Millisecond),
		Readings: h.Stats.Readings, Bytes: h.Stats.Bytes, RejectedBytes: h.Stats.RejectedBytes, Reconnects: h.Stats.Reconnects,
		LinkText: known(h.LinkText), Division: known(h.Scale.Division), Capacity: known(h.Scale.Capacity),
		Rate: known(math.Round(100*h.Rate) / 100), Lines: make([]lineView, len(h.Lines)),
	}
	for i, l := range h.Lines {
		v.Lines[i] = viewLine(l)
	}
	return v
}

func viewLine(l scaledrv.Line) lineView {
	v := lineView{
		Number: l.Number, At: l.At.UTC().Truncate(time.Millisecond), Raw: scaledrv.EscapedBytes(l.Raw), Outcome: l.Outcome.String(), Rejected: l.Rejected,
	}
	if l.Err != nil {
		v.Why = new(l.Err.Error())
	}
	if l.Outcome != scaledrv.LineRead && l.Outcome != scaledrv.LineHeld {
		return v
	}
	v.Motion, v.Kind, v.State = new(l.Reading.Motion.String()), new(l.Reading.Kind.String()), new(l.Reading.State.String())
	if l.Reading.State == reading.Normal {
		v.Shown = new(l.Reading.Value.String())
	}
	return v
}

// known is nil for a zero, which stands for what nobody has said.
func known[T comparable](value T) *T {
	var zero T
	if value == zero {
		return nil
	}
	return &value
}
