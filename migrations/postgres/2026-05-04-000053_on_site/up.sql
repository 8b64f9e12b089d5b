-- What is told from the site beside the records of steps: how each step stands, comments, the note, photos.
CREATE TABLE step_state (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    step TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('planned', 'started', 'skipped', 'done')),
    rev INTEGER NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, step),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);

CREATE TABLE step_act (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    step TEXT NOT NULL,
    act TEXT NOT NULL CHECK (act IN ('start', 'complete', 'skip', 'reopen')),
    reason TEXT,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);

CREATE TABLE job_comment (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    text TEXT NOT NULL,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);

CREATE TABLE crew_note (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    text TEXT NOT NULL,
    device TEXT,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    rev INTEGER NOT NULL,
    PRIMARY KEY (shop, job),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);

CREATE TABLE photo (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    upload TEXT NOT NULL,
    caption TEXT,
    zone TEXT,
    by_person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);
CREATE INDEX photo_upload ON photo (shop, upload);
