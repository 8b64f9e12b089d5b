ALTER TABLE customer DROP COLUMN erased_at;
DROP TRIGGER audit_entry_not_deleted;
DROP TRIGGER audit_entry_kept;
DROP TABLE audit_head;
DROP TABLE audit_entry;
