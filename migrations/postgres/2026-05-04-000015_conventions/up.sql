-- What repeated requests are answered with, and revisions of the rows that had none.

-- The answer to a request with an Idempotency-Key, kept with what the request did. `key` is a hash, and `reply` is
-- sealed with the key itself: who reads the table learns nothing from it.
CREATE TABLE kept_reply (
    shop TEXT NOT NULL REFERENCES shop (id),
    principal TEXT NOT NULL,
    operation TEXT NOT NULL,
    key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    reply TEXT,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, principal, operation, key)
);
CREATE INDEX kept_reply_created ON kept_reply (shop, created_at);

ALTER TABLE step_record ADD COLUMN rev INTEGER NOT NULL DEFAULT 1;
ALTER TABLE arrival ADD COLUMN rev INTEGER NOT NULL DEFAULT 1;
ALTER TABLE weather_series ADD COLUMN rev INTEGER NOT NULL DEFAULT 1;
