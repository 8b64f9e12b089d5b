-- Bookings are looked for by what they are for: their vehicle, when its customer is erased or exported, and their job.
CREATE INDEX booking_vehicle ON booking (shop, vehicle, id);
CREATE INDEX booking_job ON booking (shop, job);

-- Emptying the table calls no trigger of its rows.
CREATE TRIGGER audit_entry_not_truncated BEFORE TRUNCATE ON audit_entry
    FOR EACH STATEMENT EXECUTE FUNCTION audit_entry_stays();
