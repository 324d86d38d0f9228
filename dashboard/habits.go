package dashboard

import "net/http"

// listHabits is what is kept of the hands that pour: personal data, so it is in nothing else that is answered.
func (s *Server) listHabits(w http.ResponseWriter, r *http.Request) error {
	list, err := s.cfg.Ledger.Habits(r.Context())
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, map[string]any{"habits": list, "next": nil})
}

// forgetHabits removes all that is kept of one operator's hand, for good.
func (s *Server) forgetHabits(w http.ResponseWriter, r *http.Request) error {
	operator := r.URL.Query().Get("operator")
	if operator == "" {
		return problem(http.StatusBadRequest, "operator: say whose habits are to be forgotten, ?operator=NAME")
	}
	if err := s.cfg.Ledger.Forget(r.Context(), operator); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
