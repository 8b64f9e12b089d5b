-- Phones, each of one person, and how many of their commands were taken.
CREATE TABLE device (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    person TEXT NOT NULL,
    name TEXT,
    row_schema INTEGER NOT NULL,
    last_n BIGINT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('active', 'wiped', 'barred')),
    seen_at TIMESTAMP NOT NULL,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);
CREATE INDEX device_person ON device (shop, person, id);
