ALTER TABLE upload DROP COLUMN metadata;
