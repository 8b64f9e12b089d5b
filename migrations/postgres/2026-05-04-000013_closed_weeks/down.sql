DROP INDEX job_created;
DROP TABLE norm_veto;
DROP TABLE closed_week;
