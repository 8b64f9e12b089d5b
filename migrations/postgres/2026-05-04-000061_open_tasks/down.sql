CREATE TABLE schedule (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    rule TEXT NOT NULL,
    zone TEXT NOT NULL,
    next_due_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id)
);
CREATE INDEX schedule_due ON schedule (shop, next_due_at);

CREATE TABLE occurrence (
    shop TEXT NOT NULL,
    schedule TEXT NOT NULL,
    due_local TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, schedule, due_local),
    FOREIGN KEY (shop, schedule) REFERENCES schedule (shop, id)
);
DROP INDEX outbox_next;
CREATE INDEX outbox_next ON outbox (shop, status, due_at, id, kind);
ALTER TABLE outbox DROP COLUMN stage;
ALTER TABLE outbox RESET (fillfactor);
SELECT keep_shops_apart();
