-- When vehicles need what next: what the forecast rests on, what it said, and what was found.

-- What a shop's forecasts rest on beside each vehicle's own past; a new version makes every older forecast stale.
CREATE TABLE upkeep_basis (
    shop TEXT NOT NULL REFERENCES shop (id),
    version INTEGER NOT NULL CHECK (version > 0),
    rests_on TEXT NOT NULL,
    experience TEXT NOT NULL,
    climate TEXT NOT NULL,
    made_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, version)
);

-- One row per vehicle. rev counts the changes of its inputs, written with each of them; basis is the version its needs
-- were computed with, 0 while they are older than the inputs.
CREATE TABLE upkeep_state (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    rev INTEGER NOT NULL,
    basis INTEGER NOT NULL,
    computed_on DATE,
    recheck_on DATE,
    past TEXT,
    fault TEXT,
    PRIMARY KEY (shop, vehicle),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id)
) WITHOUT ROWID;
CREATE INDEX upkeep_state_basis ON upkeep_state (shop, basis, vehicle);
CREATE INDEX upkeep_state_recheck ON upkeep_state (shop, recheck_on, vehicle) WHERE recheck_on IS NOT NULL;
INSERT INTO upkeep_state (shop, vehicle, rev, basis) SELECT shop, id, 1, 0 FROM vehicle;

-- What the newest forecast of each vehicle found: the days only; the words are made when somebody reads.
CREATE TABLE upkeep_need (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    key TEXT NOT NULL,
    kind TEXT NOT NULL,
    remind_on DATE NOT NULL,
    due_on DATE NOT NULL,
    early_on DATE,
    late_on DATE,
    overdue_on DATE,
    PRIMARY KEY (shop, vehicle, key)
) WITHOUT ROWID;
CREATE INDEX upkeep_need_due ON upkeep_need (shop, due_on, vehicle, key);

-- What somebody saw, measured or heard of a vehicle outside a job. A mistaken one is withdrawn and stays.
CREATE TABLE observation (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    withdrawn_at TIMESTAMP,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);
CREATE INDEX observation_vehicle ON observation (shop, vehicle, at);

-- A forecast held against what was found on the vehicle.
CREATE TABLE forecast_check (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    key TEXT NOT NULL,
    found_on DATE NOT NULL,
    due_on DATE NOT NULL,
    risk DOUBLE PRECISION CHECK (risk BETWEEN 0 AND 1),
    found BOOLEAN NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id)
);
CREATE INDEX forecast_check_vehicle ON forecast_check (shop, vehicle, id);
CREATE INDEX forecast_check_found ON forecast_check (shop, found_on, id);

CREATE INDEX job_vehicle ON job (shop, vehicle, finished_at);

-- Months (1 to 12) in which the customer likes to be visited, as a JSON list; empty: any.
ALTER TABLE customer ADD COLUMN preferred_months TEXT NOT NULL DEFAULT '[]';

-- How far a long task has come.
ALTER TABLE outbox ADD COLUMN done_count INTEGER;
ALTER TABLE outbox ADD COLUMN total_count INTEGER;
