-- A claim, its renewal and the begin of handing over change no column of an index: what has not ended is in one stage.
-- On PostgreSQL such a row stays at its places in the indices, if its page has room for another version of it.
ALTER TABLE outbox SET (fillfactor = 70);
ALTER TABLE outbox ADD COLUMN stage TEXT NOT NULL GENERATED ALWAYS AS
    (CASE WHEN status IN ('waiting', 'leased', 'sending') THEN 'open' ELSE status END) STORED;
DROP INDEX outbox_next;
CREATE INDEX outbox_next ON outbox (shop, stage, due_at, id, kind);
-- What recurs is found by the keys of its tasks.
DROP TABLE occurrence;
DROP TABLE schedule;
