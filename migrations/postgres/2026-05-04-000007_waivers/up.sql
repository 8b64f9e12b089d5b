-- What the customer of a job agreed to in writing; the newest of each rule stands.
CREATE TABLE waiver (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    id TEXT NOT NULL,
    rule TEXT NOT NULL,
    given BOOLEAN NOT NULL,
    zones TEXT NOT NULL,
    steps TEXT NOT NULL,
    agreed_by TEXT NOT NULL,
    noted_by TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, noted_by) REFERENCES person (shop, id)
);

-- What a plan was made from, so that it can be made again; absent for plans made before this was kept.
ALTER TABLE plan ADD COLUMN facts TEXT;
