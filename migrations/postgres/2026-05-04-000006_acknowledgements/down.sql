ALTER TABLE step_record DROP COLUMN norm_grade;
ALTER TABLE step_record DROP COLUMN norm_minutes;
DROP TABLE acknowledgement;
