-- The newest of a station, in the list's order: one that made none would have all batches read.
CREATE INDEX batches_station ON batches (station, created, id);
