DROP TABLE calendar_feed;
DROP TABLE booking;
ALTER TABLE partner_app DROP COLUMN customers;
