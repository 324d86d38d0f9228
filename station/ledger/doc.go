// Package ledger keeps what happened on disk: an append-only journal of facts in SQLite, the readings behind them as
// traces, and the material cards with all their revisions. What Append has answered survives the process and a power cut
// (WAL, synchronous=FULL). No event is ever changed or removed; traces are thinned with age.
//
// Beside the events stands one row for each batch, with what lists are searched by and what they show. It is worked out
// by replaying the batch's facts, in the transaction that appends them, and holds nothing that they don't: Verify holds
// it against them.
//
// Every event carries the SHA-256 of its content, its place and the event before it (the exact bytes: see sum in
// chain.go). So Verify finds every event that was changed, taken out, put in or moved by anybody who did not make all
// hashes after it anew, and every damage by a disk. It does not show who wrote an event, nor that what was written was
// true, nor that the clock was right. Whoever can write the file can make the whole chain anew, or cut events off its
// end, and the file alone does not show that: only a Head that was kept where they can't write does, on an export, on
// paper, in another's hands. It vouches for everything up to it; of what came after it nothing is known. Traces and
// cards are not in the chain; a batch's start holds its card as it was then, and its accepted masses are in events.
//
// Habits of hands are personal data: they stand in a table of their own, in no event, list or export, and Forget removes
// them for good. A backup is the whole file, habits and all.
package ledger
