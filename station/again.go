package station

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/plan"
)

// Again is the order that a batch was started from, of any station of the ledger: its material, amount, chosen share of
// B, operator, lots, cup and whether it was practice. The card is the newest when it is started; what it was then goes
// into the new batch's record. The temperature is of its day and is left out. Of a batch recorded before amounts were
// kept the amount is the total that was planned. The error is a *BadOrder where there is no such batch.
func (s *Station) Again(ctx context.Context, id string) (Order, error) {
	entries, err := s.cfg.Ledger.Entries(ctx, id)
	if errors.Is(err, ledger.ErrNotFound) {
		return Order{}, &BadOrder{"again", fmt.Sprintf("there is no batch %q", id)}
	} else if err != nil {
		return Order{}, err
	}
	start := replay(entries[:1]).Start
	o := Order{
		Material: start.Card.ID, Operator: start.Operator, Lots: start.Lots, Practice: start.Practice,
		Cup: start.Plan.Cup, BPer100A: start.BPer100A, again: &batch.Again{Batch: id, Revision: start.Card.Revision},
	}
	if start.Amount != nil {
		o.Amount = *start.Amount
	} else {
		o.Amount = plan.Amount{TotalG: &start.Plan.TotalG}
	}
	return o, nil
}

// ofAnother makes of a code that the batch's card does not know, and another card does, one that does not fit: it is on
// the wrong container. Any other error stays as it is.
func (s *Station) ofAnother(ctx context.Context, code string, err error) error {
	var refusal *batch.Refusal
	if !errors.As(err, &refusal) || !refusal.Unknown {
		return err
	}
	cards, failed := s.cfg.Ledger.Materials(ctx)
	if failed != nil {
		return failed
	}
	for _, c := range cards {
		if slices.Contains(c.Codes.A, code) || slices.Contains(c.Codes.B, code) {
			return &batch.Refusal{Misfit: true, Detail: fmt.Sprintf("that is a container of %s, another material: put it back", c.Name)}
		}
	}
	return err
}
