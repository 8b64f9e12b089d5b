-- Windows that somebody holds for some minutes until they take them.
CREATE TABLE held_offer (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    person TEXT,
    app TEXT,
    vehicle TEXT NOT NULL,
    package TEXT NOT NULL,
    options TEXT NOT NULL,
    booked_grade INTEGER NOT NULL CHECK (booked_grade BETWEEN 0 AND 4),
    window_from TIMESTAMP NOT NULL,
    window_to TIMESTAMP NOT NULL,
    van TEXT NOT NULL,
    technicians TEXT NOT NULL,
    start_at TIMESTAMP NOT NULL,
    finish_at TIMESTAMP NOT NULL,
    cost DOUBLE PRECISION NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('held', 'taken', 'released')),
    expires_at TIMESTAMP NOT NULL,
    job TEXT,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id),
    FOREIGN KEY (shop, app) REFERENCES partner_app (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id),
    FOREIGN KEY (shop, van) REFERENCES van (shop, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    CHECK ((person IS NULL) <> (app IS NULL)),
    CHECK (window_to > window_from)
);
CREATE INDEX held_offer_live ON held_offer (shop, status, expires_at);
CREATE INDEX held_offer_app ON held_offer (shop, app, id);
