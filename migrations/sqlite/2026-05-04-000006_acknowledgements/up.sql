-- Who took note of which warning of a plan.
CREATE TABLE acknowledgement (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    version INTEGER NOT NULL,
    rule TEXT NOT NULL,
    person TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job, version, rule, person),
    FOREIGN KEY (shop, job, version) REFERENCES plan (shop, job, version),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);

-- What the plan said of a step when it was recorded: norms are learned from it.
ALTER TABLE step_record ADD COLUMN norm_minutes DOUBLE PRECISION CHECK (norm_minutes > 0);
ALTER TABLE step_record ADD COLUMN norm_grade INTEGER CHECK (norm_grade BETWEEN 0 AND 4);
