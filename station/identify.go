package station

import (
	"context"

	"twocup/scaledrv"
	"twocup/station/batch"
)

// Identify finds how the station's scale speaks. Meanwhile nothing is read from it and no batch starts; afterwards it is read
// as before: no setting is changed. The error is a *batch.Refusal while a batch is at the station or another identification
// runs, else what went wrong with the link.
func (s *Station) Identify(ctx context.Context, opt scaledrv.IdentifyOptions) (found scaledrv.Identification, err error) {
	opt.Log = s.log
	var refused error
	if err := s.inLoop(ctx, func() { refused = s.lend() }); err != nil {
		return found, err
	}
	if refused != nil {
		return found, refused
	}
	defer func() { _ = s.inLoop(context.Background(), func() { s.lent = false }) }() // a station that has ended needs nothing back
	return s.driver.Identify(ctx, opt)
}

// lend gives the scale away, in the loop: to nobody while a batch needs it.
func (s *Station) lend() error {
	switch {
	case s.lent:
		return &batch.Refusal{Misfit: true, Detail: "the scale is being identified already: wait for the answer"}
	case s.state.Start != nil || s.starting():
		return &batch.Refusal{Misfit: true, Detail: "a batch is at this station: finish, scrap or abandon it and lift the cup first"}
	}
	s.lent = true
	return nil
}

// Entry is the `scales:` entry of this station's scale, as a candidate has it.
func (s *Station) Entry(c scaledrv.Candidate) string { return c.Entry(s.cfg.Scale.ID, s.cfg.LinkText) }
