ALTER TABLE sync_clock DROP COLUMN handbook;
