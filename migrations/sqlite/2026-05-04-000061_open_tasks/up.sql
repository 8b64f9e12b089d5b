-- A claim, its renewal and the begin of handing over change no column of an index: what has not ended is in one stage.
ALTER TABLE outbox ADD COLUMN stage TEXT NOT NULL GENERATED ALWAYS AS
    (CASE WHEN status IN ('waiting', 'leased', 'sending') THEN 'open' ELSE status END) VIRTUAL;
DROP INDEX outbox_next;
CREATE INDEX outbox_next ON outbox (shop, stage, due_at, id, kind);
-- What recurs is found by the keys of its tasks.
DROP TABLE occurrence;
DROP TABLE schedule;
