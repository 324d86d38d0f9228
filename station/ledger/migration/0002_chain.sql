-- Each event carries the hash of the event before it and its own, so that a change shows. The events of an older file
-- are brought over and chained by the program, in the same transaction.
DROP INDEX events_batch;
ALTER TABLE events RENAME TO events_unchained;
CREATE TABLE events (
  seq   INTEGER PRIMARY KEY,
  batch TEXT NOT NULL,
  at    TEXT NOT NULL,
  kind  TEXT NOT NULL,
  body  TEXT NOT NULL,
  prev  BLOB NOT NULL,
  hash  BLOB NOT NULL
) STRICT;
CREATE INDEX events_batch ON events (batch, seq);

-- Each filter of a list alone and both together, in the list's order.
ALTER TABLE batches ADD COLUMN weighed TEXT NOT NULL DEFAULT '';
ALTER TABLE batches ADD COLUMN finished TEXT NOT NULL DEFAULT '';
ALTER TABLE batches ADD COLUMN summary TEXT NOT NULL DEFAULT '';
CREATE INDEX batches_material ON batches (material, created, id);
CREATE INDEX batches_verdict ON batches (verdict, created, id);
CREATE INDEX batches_both ON batches (material, verdict, created, id);
CREATE INDEX batches_unfinished ON batches (weighed) WHERE finished = '';

-- Mass over time, in chunks of points; not part of the chain, and thinned with age.
CREATE TABLE traces (
  batch   TEXT NOT NULL,
  chunk   INTEGER NOT NULL,
  thinned INTEGER NOT NULL DEFAULT 0,
  data    BLOB NOT NULL,
  PRIMARY KEY (batch, chunk)
) STRICT, WITHOUT ROWID;
