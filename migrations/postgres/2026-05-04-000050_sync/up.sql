-- What each person's phones may hold, row by row, and the one number per shop that orders all changes.
CREATE TABLE sync_clock (
    shop TEXT NOT NULL PRIMARY KEY REFERENCES shop (id),
    epoch TEXT NOT NULL,
    seq BIGINT NOT NULL
);
INSERT INTO sync_clock (shop, epoch, seq) SELECT id, 'first', 0 FROM shop;

CREATE TABLE sync_scope (
    shop TEXT NOT NULL,
    person TEXT NOT NULL,
    floor_seq BIGINT NOT NULL,
    row_count BIGINT NOT NULL,
    row_sum BIGINT NOT NULL,
    as_of DATE NOT NULL,
    PRIMARY KEY (shop, person),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);

CREATE TABLE sync_index (
    shop TEXT NOT NULL,
    person TEXT NOT NULL,
    kind TEXT NOT NULL,
    id TEXT NOT NULL,
    job TEXT,
    seq BIGINT NOT NULL,
    present BOOLEAN NOT NULL,
    touched_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, person, kind, id),
    FOREIGN KEY (shop, person) REFERENCES sync_scope (shop, person)
);
CREATE INDEX sync_index_seq ON sync_index (shop, person, seq, kind, id);
CREATE INDEX sync_index_row ON sync_index (shop, kind, id, person);
