ALTER TABLE outbox DROP COLUMN total_count;
ALTER TABLE outbox DROP COLUMN done_count;
ALTER TABLE customer DROP COLUMN preferred_months;
DROP INDEX job_vehicle;
DROP TABLE forecast_check;
DROP TABLE observation;
DROP TABLE upkeep_need;
DROP TABLE upkeep_state;
DROP TABLE upkeep_basis;
