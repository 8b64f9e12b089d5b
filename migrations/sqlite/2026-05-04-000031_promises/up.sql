-- What customers were told when rounds were published. Who goes when stands with the job.
CREATE TABLE promise (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    plan TEXT,
    promised_from TIMESTAMP NOT NULL,
    promised_to TIMESTAMP NOT NULL,
    frozen BOOLEAN NOT NULL,
    made_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, job),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, plan) REFERENCES round_plan (shop, id),
    CHECK (promised_to > promised_from)
);
