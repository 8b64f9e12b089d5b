ALTER TABLE weather_series DROP COLUMN rev;
ALTER TABLE arrival DROP COLUMN rev;
ALTER TABLE step_record DROP COLUMN rev;
DROP TABLE kept_reply;
