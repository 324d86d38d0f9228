package dashboard

import (
	"net/http"
	"slices"
)

// Hand moves the demo's simulated bench: cup, lift, tip (by 0 to 1), rest or auto. An error says why that can't be done
// now.
type Hand func(do string, tip float64) error

// moveHand exists in the demo only.
func (s *Server) moveHand(w http.ResponseWriter, r *http.Request) error {
	move, err := decode[struct {
		Do  string  `json:"do"`
		Tip float64 `json:"tip"`
	}](w, r)
	switch {
	case err != nil:
		return err
	case !slices.Contains([]string{"cup", "lift", "tip", "rest", "auto"}, move.Do):
		return problem(http.StatusBadRequest, "do=%q: it is cup, lift, tip, rest or auto", move.Do)
	case move.Tip < 0 || move.Tip > 1:
		return problem(http.StatusBadRequest, "tip=%v: it is from 0 (upright) to 1", move.Tip)
	}
	if err := s.cfg.Hand(move.Do, move.Tip); err != nil {
		return problem(http.StatusConflict, "%v", err)
	}
	return reply(w, http.StatusOK, move)
}
