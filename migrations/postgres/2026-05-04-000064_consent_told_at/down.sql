ALTER TABLE consent DROP COLUMN told_at;
