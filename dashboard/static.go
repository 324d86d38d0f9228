package dashboard

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"fmt"
	"net/http"
	"path"
	"time"
)

//go:embed static
var files embed.FS

// static serves the embedded files by their name. An embedded file has no date, so its content is its tag: a display
// that stays open asks each time and gets the new one after an upgrade.
func static() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { serveFile(w, r, r.URL.Path) })
}

// page serves one of the embedded pages.
func page(name string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { serveFile(w, r, name) })
}

func (s *Server) bench(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.station(r); err != nil {
		return err
	}
	serveFile(w, r, "bench.html")
	return nil
}

// scalePage shows what comes from the scales of a station.
func (s *Server) scalePage(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.station(r); err != nil {
		return err
	}
	serveFile(w, r, "scale.html")
	return nil
}

func serveFile(w http.ResponseWriter, r *http.Request, name string) {
	content, err := files.ReadFile(path.Join("static", path.Clean("/"+name)))
	if err != nil {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(content)))
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(content))
}
