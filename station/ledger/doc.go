// Package ledger keeps what happened on disk: an append-only journal of facts in SQLite, and the material cards with
// all their revisions. What Append has answered survives the process and a power cut (WAL, synchronous=FULL). Nothing
// in it is ever changed or removed. It never works out a batch: reading one back is replaying its facts.
package ledger
