DROP INDEX step_record_van;
ALTER TABLE step_record DROP COLUMN van;
