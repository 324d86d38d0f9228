package dashboard

import "net/http"

// recordPage is the page of one batch, whose record it reads from the API.
func (s *Server) recordPage(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.cfg.Ledger.Station(r.Context(), r.PathValue("id")); err != nil {
		return err
	}
	serveFile(w, r, "record.html")
	return nil
}
