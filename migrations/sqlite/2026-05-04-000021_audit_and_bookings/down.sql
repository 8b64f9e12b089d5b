DROP TRIGGER audit_entry_not_replaced;
DROP INDEX booking_vehicle;
DROP INDEX booking_job;
