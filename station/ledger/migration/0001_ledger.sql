-- Append-only: what happened, in one order for the whole ledger.
CREATE TABLE events (
  seq   INTEGER PRIMARY KEY,
  batch TEXT NOT NULL,
  at    TEXT NOT NULL,
  kind  TEXT NOT NULL,
  body  TEXT NOT NULL
) STRICT;
CREATE INDEX events_batch ON events (batch, seq);

-- What lists of batches are searched by; made from the events, in the same transaction.
CREATE TABLE batches (
  id       TEXT PRIMARY KEY,
  station  TEXT NOT NULL,
  material TEXT NOT NULL,
  created  TEXT NOT NULL,
  verdict  TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX batches_created ON batches (created, id);

-- Every revision of every card stays.
CREATE TABLE materials (
  id       TEXT NOT NULL,
  revision INTEGER NOT NULL,
  at       TEXT NOT NULL,
  card     TEXT NOT NULL,
  PRIMARY KEY (id, revision)
) STRICT;
