package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
)

// Problem is an error as it is answered: a problem document (RFC 9457) whose detail a person can act on.
type Problem struct {
	Title  string  `json:"title"`
	Status int     `json:"status"`
	Detail string  `json:"detail"`
	Errors []Fault `json:"errors,omitempty"`
}

// Fault is one of several things wrong with a body.
type Fault struct {
	Field  string `json:"field"`
	Detail string `json:"detail"`
}

func (p *Problem) Error() string { return p.Detail }

func problem(status int, format string, args ...any) error {
	return &Problem{Title: http.StatusText(status), Status: status, Detail: fmt.Sprintf(format, args...)}
}

// answer makes a handler of a function that returns what went wrong.
func (s *Server) answer(do func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := do(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

// fail writes an error as a problem document. What is not the client's fault goes to the log as well.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) {
		return // whoever asked has left
	}
	p := asProblem(err)
	if p.Status >= 500 {
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", err)
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p) // a client that has left is not our error
}

func asProblem(err error) *Problem {
	var p *Problem
	var refusal *batch.Refusal
	var order *station.BadOrder
	var faults material.Faults
	status := http.StatusInternalServerError
	var list []Fault
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &refusal) && refusal.Misfit, errors.Is(err, ledger.ErrExists):
		status = http.StatusConflict
	case errors.As(err, &refusal) && refusal.Unknown:
		status = http.StatusNotFound
	case errors.As(err, &refusal):
		status = http.StatusBadRequest
	case errors.As(err, &order):
		status, list = http.StatusBadRequest, []Fault{{order.Field, order.Detail}}
	case errors.As(err, &faults):
		status = http.StatusBadRequest
		for _, f := range faults {
			list = append(list, Fault{f.Field, f.Detail})
		}
	case errors.Is(err, ledger.ErrNotFound):
		status = http.StatusNotFound
	case errors.Is(err, station.ErrNotDurable), errors.Is(err, station.ErrEnded), errors.Is(err, ledger.ErrBusy):
		status = http.StatusServiceUnavailable
	}
	return &Problem{Title: http.StatusText(status), Status: status, Detail: err.Error(), Errors: list}
}

// maxBody of a request; a longer one is 413.
const maxBody = 1 << 20

// body reads a request's body whole.
func body(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return nil, problem(http.StatusRequestEntityTooLarge, "the body is longer than %d bytes", tooLarge.Limit)
	} else if err != nil {
		return nil, problem(http.StatusBadRequest, "the body could not be read: %v", err)
	}
	return b, nil
}

// decode reads one JSON object with known names only.
func decode[T any](w http.ResponseWriter, r *http.Request) (v T, err error) {
	b, err := body(w, r)
	if err != nil {
		return v, err
	}
	d := json.NewDecoder(strings.NewReader(string(b)))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		return v, problem(http.StatusBadRequest, "the body is not what is expected here: %v", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return v, problem(http.StatusBadRequest, "the body goes on after its JSON value")
	}
	if err := strict(json.NewDecoder(strings.NewReader(string(b))), ""); err != nil {
		return v, problem(http.StatusBadRequest, "the body is not what is expected here: %v", err)
	}
	return v, nil
}

func reply(w http.ResponseWriter, status int, v any) error {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(v) // a client that has left is not our error
	return nil
}
