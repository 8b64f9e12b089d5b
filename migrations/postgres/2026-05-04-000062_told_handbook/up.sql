-- The standard tables that phones were told of last: another release may bring others.
ALTER TABLE sync_clock ADD COLUMN handbook TEXT NOT NULL DEFAULT '';
