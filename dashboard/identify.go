package dashboard

import (
	"context"
	"errors"
	"math"
	"net/http"
	"sync"
	"time"

	"twocup/scaledrv"
)

// identification is the newest one at a station: the one that runs, or what the last came to.
type identification struct {
	mu    sync.Mutex
	view  identificationView
	began time.Time // of the one that runs, with the clock that nobody sets
}

type identificationView struct {
	Running  bool                     `json:"running"`
	Started  *time.Time               `json:"started"`   // nil: none has been started yet
	For      *float64                 `json:"running_s"` // nil while none runs
	Ask      bool                     `json:"ask"`
	Progress []string                 `json:"progress"`
	Answer   *scaledrv.Identification `json:"answer"`  // nil until it has ended, and where it has failed
	Entries  []string                 `json:"entries"` // of its candidates, in their order
	Error    *string                  `json:"error"`
}

// identify finds how the station's scale speaks, and answers when that has ended. It goes on when whoever asked leaves: a
// page that is loaded anew, or a phone that sleeps, finds the answer later. The station's own end ends it.
func (s *Server) identify(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	wish, err := decode[struct {
		Ask bool `json:"ask"`
	}](w, r)
	if err != nil {
		return err
	}
	id := s.hubs[st.ID()].identification
	if !id.begin(wish.Ask, time.Now()) {
		return problem(http.StatusConflict, "the scale is being identified already: wait for the answer")
	}
	ctx, ended := context.WithoutCancel(r.Context()), make(chan error, 1)
	s.running.Go(func() {
		found, err := st.Identify(ctx, scaledrv.IdentifyOptions{Ask: wish.Ask, Progress: id.tell})
		id.end(found, err, st.Entry)
		ended <- err
	})
	select {
	case err := <-ended:
		if lost := (*scaledrv.LinkError)(nil); errors.As(err, &lost) {
			return problem(http.StatusServiceUnavailable, "%v", lost)
		} else if err != nil {
			return err
		}
		return reply(w, http.StatusOK, id.now())
	case <-r.Context().Done():
		return r.Context().Err()
	}
}

// getIdentification answers what runs, or what the last one came to.
func (s *Server) getIdentification(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	return reply(w, http.StatusOK, s.hubs[st.ID()].identification.now())
}

func newIdentification() *identification {
	return &identification{view: identificationView{Progress: []string{}, Entries: []string{}}}
}

func (i *identification) begin(ask bool, at time.Time) bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.view.Running {
		return false
	}
	i.began = at
	i.view = identificationView{Running: true, Started: new(at.UTC().Truncate(time.Millisecond)), Ask: ask, Progress: []string{}, Entries: []string{}}
	return true
}

func (i *identification) tell(progress string) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.view.Progress = append(i.view.Progress, progress)
}

func (i *identification) end(found scaledrv.Identification, err error, entry func(scaledrv.Candidate) string) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.view.Running = false
	if err != nil {
		i.view.Error = new(err.Error())
		return
	}
	i.view.Answer = &found
	for _, c := range found.Candidates {
		i.view.Entries = append(i.view.Entries, entry(c))
	}
}

func (i *identification) now() identificationView {
	i.mu.Lock()
	defer i.mu.Unlock()
	v := i.view // what is appended to later lies behind what this one sees
	if v.Running {
		v.For = new(math.Round(10*time.Since(i.began).Seconds()) / 10)
	}
	return v
}
