-- Ways that a shop knows better than by coordinates.
CREATE TABLE travel_matrix (
    shop TEXT NOT NULL PRIMARY KEY REFERENCES shop (id),
    document TEXT NOT NULL,
    rev INTEGER NOT NULL,
    changed_at TIMESTAMP NOT NULL
);
