-- Searches for rounds: what was asked, how far they are, what they found.
CREATE TABLE round_plan (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    asked_by TEXT NOT NULL,
    ask TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('asked', 'running', 'done', 'cancelled', 'failed')),
    progress TEXT NOT NULL,
    fingerprint TEXT,
    outcome TEXT,
    error TEXT,
    begun_at TIMESTAMP,
    ended_at TIMESTAMP,
    published_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, asked_by) REFERENCES person (shop, id)
);
CREATE INDEX round_plan_status ON round_plan (shop, status, id);
