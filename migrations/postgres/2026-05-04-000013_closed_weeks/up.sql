-- Weeks whose figures the owner has closed, as they were then.
CREATE TABLE closed_week (
    shop TEXT NOT NULL REFERENCES shop (id),
    week_on DATE NOT NULL,
    document TEXT NOT NULL,
    closed_at TIMESTAMP NOT NULL,
    by_person TEXT NOT NULL,
    PRIMARY KEY (shop, week_on),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

-- Learned minutes that the owner does not want, or wants again; the newest row of a step, grade and technician holds.
CREATE TABLE norm_veto (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    step TEXT NOT NULL,
    grade INTEGER CHECK (grade BETWEEN 0 AND 4),
    technician TEXT,
    vetoed BOOLEAN NOT NULL,
    reason TEXT NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, technician) REFERENCES person (shop, id),
    FOREIGN KEY (shop, by_person) REFERENCES person (shop, id)
);

-- Bookings after a reminder.
CREATE INDEX job_created ON job (shop, created_at);
