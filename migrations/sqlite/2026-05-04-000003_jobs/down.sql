DROP TABLE step_record;
DROP TABLE plan;
DROP TABLE inspection;
DROP TABLE job_technician;
DROP TABLE job;
