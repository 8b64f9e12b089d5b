-- The van whose products a record used: its job may go with another one later.
ALTER TABLE step_record ADD COLUMN van TEXT;
UPDATE step_record SET van = (SELECT job.van FROM job WHERE job.shop = step_record.shop AND job.id = step_record.job);
CREATE INDEX step_record_van ON step_record (shop, van, started_at);
