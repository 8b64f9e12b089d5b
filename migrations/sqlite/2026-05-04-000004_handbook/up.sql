-- What a shop changed in the trade tables, version by version, and the weather of its places.
CREATE TABLE handbook_override (
    shop TEXT NOT NULL REFERENCES shop (id),
    version INTEGER NOT NULL,
    document TEXT NOT NULL,
    by_person TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, version),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

CREATE TABLE weather_series (
    shop TEXT NOT NULL REFERENCES shop (id),
    place TEXT NOT NULL,
    day DATE NOT NULL,
    hours TEXT NOT NULL,
    updated_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, place, day)
);
