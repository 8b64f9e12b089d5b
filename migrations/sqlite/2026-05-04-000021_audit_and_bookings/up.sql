-- Bookings are looked for by what they are for: their vehicle, when its customer is erased or exported, and their job.
CREATE INDEX booking_vehicle ON booking (shop, vehicle, id);
CREATE INDEX booking_job ON booking (shop, job);

-- What REPLACE deletes to make room calls no trigger of deleting.
CREATE TRIGGER audit_entry_not_replaced BEFORE INSERT ON audit_entry
WHEN EXISTS (SELECT 1 FROM audit_entry e WHERE e.shop = NEW.shop AND e.number = NEW.number)
BEGIN
    SELECT RAISE(ABORT, 'audit entries are never changed');
END;
