// Package station runs one bench: it owns the driver of its scale and the batch on it. One goroutine takes readings,
// actions and what the ledger has recorded, in one order; others send it events and receive snapshots. It never waits
// for a disk: what must be durable goes to the ledger's goroutine and comes back as an event of its own.
package station
