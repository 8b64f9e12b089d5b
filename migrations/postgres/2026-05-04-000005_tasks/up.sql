-- Background work: what recurs, when it last did, what waits to be done; and the reminders made by it.
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

CREATE TABLE outbox (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    dedupe_key TEXT NOT NULL,
    payload TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('waiting', 'leased', 'sending', 'done', 'uncertain', 'dead')),
    due_at TIMESTAMP NOT NULL,
    lease_until TIMESTAMP,
    lease_by TEXT,
    fence INTEGER NOT NULL,
    attempt INTEGER NOT NULL,
    last_error TEXT,
    created_at TIMESTAMP NOT NULL,
    finished_at TIMESTAMP,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, dedupe_key)
);
CREATE INDEX outbox_due ON outbox (shop, status, due_at);

CREATE TABLE reminder (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    customer TEXT NOT NULL,
    job TEXT,
    kind TEXT NOT NULL,
    purpose TEXT NOT NULL,
    dedupe_key TEXT NOT NULL,
    due_at TIMESTAMP NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('due', 'sending', 'sent', 'suppressed', 'uncertain', 'failed')),
    reason TEXT NOT NULL,
    document TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL,
    settled_at TIMESTAMP,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, dedupe_key),
    FOREIGN KEY (shop, customer) REFERENCES customer (shop, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);
CREATE INDEX reminder_customer ON reminder (shop, customer, due_at);
CREATE INDEX reminder_due ON reminder (shop, status, due_at);
