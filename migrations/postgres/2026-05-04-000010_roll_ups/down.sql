DROP TABLE step_cells;
DROP TABLE job_figures;
DROP INDEX step_record_flawed;
ALTER TABLE step_record DROP COLUMN flaws;
ALTER TABLE step_record DROP COLUMN sound;
ALTER TABLE step_record DROP COLUMN counted_ms;
