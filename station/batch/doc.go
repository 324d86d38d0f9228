// Package batch is one mix, from its start to its end, as a pure state machine over a list of dosings. In go readings,
// actions and what the ledger has recorded; out come facts to be recorded. What must be durable before it is shown -
// the start, an accepted part, the verdict, every action, the start of pot life - changes the state only when its fact
// comes back as Recorded, so replaying a batch's facts gives the same state. What merely follows the pan (motion, flow,
// cue) changes at once and never waits.
package batch
