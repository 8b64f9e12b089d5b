-- What partner apps propose, whom they may act for, and calendars that others subscribe to.
ALTER TABLE partner_app ADD COLUMN customers TEXT;

CREATE TABLE booking (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    app TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    package TEXT NOT NULL,
    options TEXT NOT NULL,
    window_from TIMESTAMP NOT NULL,
    window_to TIMESTAMP NOT NULL,
    booked_grade INTEGER NOT NULL CHECK (booked_grade BETWEEN 0 AND 4),
    note TEXT,
    status TEXT NOT NULL CHECK (status IN ('proposed', 'accepted', 'declined', 'withdrawn')),
    reason TEXT,
    job TEXT,
    settled_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, app) REFERENCES partner_app (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    CHECK (window_to > window_from)
);
CREATE INDEX booking_app ON booking (shop, app, id);
CREATE INDEX booking_status ON booking (shop, status, id);

CREATE TABLE calendar_feed (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    person TEXT,
    app TEXT,
    details BOOLEAN NOT NULL,
    secret_hash TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, secret_hash),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id),
    FOREIGN KEY (shop, app) REFERENCES partner_app (shop, id),
    CHECK ((person IS NULL) <> (app IS NULL))
);
CREATE INDEX calendar_feed_person ON calendar_feed (shop, person, id);
CREATE INDEX calendar_feed_app ON calendar_feed (shop, app, id);
