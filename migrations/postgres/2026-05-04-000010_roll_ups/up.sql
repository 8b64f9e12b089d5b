-- Throughput, summed up: kept in the transaction of whatever changes it, and made anew by `lustrum recount`.

-- How much of a record counts, whether its time may teach anything, and what is wrong with it.
ALTER TABLE step_record ADD COLUMN counted_ms BIGINT NOT NULL DEFAULT 0;
ALTER TABLE step_record ADD COLUMN sound BOOLEAN NOT NULL DEFAULT TRUE;
ALTER TABLE step_record ADD COLUMN flaws TEXT;
UPDATE step_record SET counted_ms = CAST(minutes * 60000 AS BIGINT);
CREATE INDEX step_record_flawed ON step_record (shop, worked_on) WHERE flaws IS NOT NULL;

-- A job as its records add up, on the day it is counted on.
CREATE TABLE job_figures (
    shop TEXT NOT NULL,
    job TEXT NOT NULL,
    counted_on DATE NOT NULL,
    document TEXT NOT NULL,
    PRIMARY KEY (shop, job),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id)
);
CREATE INDEX job_figures_on ON job_figures (shop, counted_on);

-- A technician's steps of a week in a crew, by step, grade and heat.
CREATE TABLE step_cells (
    shop TEXT NOT NULL REFERENCES shop (id),
    week_on DATE NOT NULL,
    crew TEXT NOT NULL,
    technician TEXT NOT NULL,
    cells TEXT NOT NULL,
    PRIMARY KEY (shop, week_on, crew, technician)
);
