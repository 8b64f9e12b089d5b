-- What phones said, once each, with what became of it; what was parked or rejected waits for the office.
CREATE TABLE mutation (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    device TEXT NOT NULL,
    n BIGINT NOT NULL,
    person TEXT NOT NULL,
    job TEXT NOT NULL,
    command TEXT NOT NULL,
    version INTEGER NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('applied', 'merged', 'parked', 'rejected')),
    reason TEXT,
    payload TEXT,
    flagged BOOLEAN NOT NULL,
    occurred_at TIMESTAMP NOT NULL,
    sent_at TIMESTAMP NOT NULL,
    received_at TIMESTAMP NOT NULL,
    corrected_at TIMESTAMP NOT NULL,
    inbox TEXT CHECK (inbox IN ('open', 'accepted', 'discarded')),
    settled_by TEXT,
    settled_at TIMESTAMP,
    settled_because TEXT,
    rev INTEGER NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, device) REFERENCES device (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);
CREATE UNIQUE INDEX mutation_n ON mutation (shop, device, n);
CREATE INDEX mutation_inbox ON mutation (shop, inbox, id);
CREATE INDEX mutation_job ON mutation (shop, job, id);
