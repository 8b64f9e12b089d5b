DROP TRIGGER audit_entry_not_truncated ON audit_entry;
DROP INDEX booking_vehicle;
DROP INDEX booking_job;
