-- When the customer said it, where that was before it was written down.
ALTER TABLE consent ADD COLUMN told_at TIMESTAMP;
