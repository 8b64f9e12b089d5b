-- The customer's work: booked, looked at, planned, done.
CREATE TABLE job (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    customer TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    package TEXT NOT NULL,
    options TEXT NOT NULL,
    window_from TIMESTAMP NOT NULL,
    window_to TIMESTAMP NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('booked', 'planned', 'started', 'finished', 'cancelled')),
    van TEXT,
    start_at TIMESTAMP,
    booked_grade INTEGER NOT NULL CHECK (booked_grade BETWEEN 0 AND 4),
    note TEXT,
    finished_at TIMESTAMP,
    grades_after TEXT,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, customer) REFERENCES customer (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id),
    FOREIGN KEY (shop, van) REFERENCES van (shop, id),
    CHECK (window_to > window_from)
);
-- The second line behind the check for overlapping windows.
CREATE UNIQUE INDEX job_vehicle_window ON job (shop, vehicle, window_from) WHERE status <> 'cancelled';
CREATE INDEX job_window ON job (shop, window_from, id);
CREATE INDEX job_customer ON job (shop, customer, window_from);

CREATE TABLE job_technician (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    person TEXT NOT NULL,
    PRIMARY KEY (shop, job, person),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);
CREATE INDEX job_technician_person ON job_technician (shop, person, job);

CREATE TABLE inspection (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

CREATE TABLE plan (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    version INTEGER NOT NULL,
    handbook TEXT NOT NULL,
    format INTEGER NOT NULL,
    document TEXT NOT NULL,
    made_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, version),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);

CREATE TABLE step_record (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    step TEXT NOT NULL,
    technician TEXT NOT NULL,
    started_at TIMESTAMP NOT NULL,
    minutes DOUBLE PRECISION NOT NULL CHECK (minutes >= 0),
    loops INTEGER NOT NULL CHECK (loops >= 0),
    water_l DOUBLE PRECISION NOT NULL CHECK (water_l >= 0),
    product TEXT NOT NULL,
    panel_c DOUBLE PRECISION,
    outcome TEXT NOT NULL CHECK (outcome IN ('passed', 'left')),
    note TEXT,
    recorded_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, technician) REFERENCES person (shop, id)
);
CREATE INDEX step_record_started ON step_record (shop, started_at);
