ALTER TABLE customer DROP COLUMN erased_at;
DROP TABLE audit_head;
DROP TABLE audit_entry;
DROP FUNCTION audit_entry_stays();
