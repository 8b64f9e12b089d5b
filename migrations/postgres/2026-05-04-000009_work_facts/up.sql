-- What the owner's weekly sheet needs and nobody wrote down before: arrivals, extra work, near misses, van checks,
-- and what became of a step's record afterwards.

-- A step's day on the shop's calendar, what the plan gave it, and who wrote it down. Earlier records are taken to lie
-- on their UTC day and to be unplanned.
ALTER TABLE step_record ADD COLUMN worked_on DATE NOT NULL DEFAULT '1970-01-01';
ALTER TABLE step_record ADD COLUMN planned_minutes DOUBLE PRECISION CHECK (planned_minutes >= 0);
ALTER TABLE step_record ADD COLUMN recorded_by TEXT;
UPDATE step_record SET worked_on = started_at::date;
CREATE INDEX step_record_technician ON step_record (shop, technician, started_at);
CREATE INDEX step_record_worked ON step_record (shop, worked_on);

-- A job that makes good what another left, the version of the plan with which a job was begun, and who said that it
-- was finished, and when.
ALTER TABLE job ADD COLUMN rework_of TEXT;
ALTER TABLE job ADD COLUMN started_plan INTEGER;
ALTER TABLE job ADD COLUMN finish_recorded_by TEXT;
ALTER TABLE job ADD COLUMN finish_recorded_at TIMESTAMP;
CREATE INDEX job_rework ON job (shop, rework_of);
CREATE INDEX job_finished ON job (shop, finished_at);

-- What was corrected in a step's record, or that it was taken back: as it was, why, by whom. The record itself holds
-- what is in force; one taken back is only here.
CREATE TABLE step_change (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    record TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('corrected', 'voided')),
    reason TEXT NOT NULL,
    before TEXT NOT NULL,
    after TEXT,
    worked_on DATE NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);
CREATE INDEX step_change_worked ON step_change (shop, worked_on);

-- The crew at the customer's place: when, after how long a drive, and whether the customer was there.
CREATE TABLE arrival (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    arrived_at TIMESTAMP NOT NULL,
    travel_min DOUBLE PRECISION CHECK (travel_min >= 0),
    travel_km DOUBLE PRECISION CHECK (travel_km >= 0),
    no_show BOOLEAN NOT NULL,
    waited_min DOUBLE PRECISION CHECK (waited_min >= 0),
    note TEXT,
    by_person TEXT NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

-- Work beyond the booking that the customer was asked for, and the answer.
CREATE TABLE extra_work (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    what TEXT NOT NULL,
    minutes DOUBLE PRECISION CHECK (minutes >= 0),
    answer TEXT NOT NULL CHECK (answer IN ('accepted', 'declined', 'none')),
    asked_at TIMESTAMP NOT NULL,
    by_person TEXT NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

-- What nearly went wrong.
CREATE TABLE near_miss (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    job TEXT,
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    happened_on DATE NOT NULL,
    by_person TEXT NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);
CREATE INDEX near_miss_happened ON near_miss (shop, happened_on, id);

-- What a van held when somebody counted, and what was sorted out or filled up.
CREATE TABLE van_check (
    shop TEXT NOT NULL,
    van TEXT NOT NULL,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    checked_on DATE NOT NULL,
    checked_at TIMESTAMP NOT NULL,
    by_person TEXT NOT NULL,
    PRIMARY KEY (shop, van, id),
    FOREIGN KEY (shop, van) REFERENCES van (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);
CREATE INDEX van_check_on ON van_check (shop, checked_on, van);

-- Reminders sent and consents withdrawn in a week.
CREATE INDEX reminder_settled ON reminder (shop, settled_at);
CREATE INDEX consent_at ON consent (shop, at);
