DROP TABLE customer_reply;
DROP TABLE message_template;
DROP TABLE message_gateway;
ALTER TABLE job DROP COLUMN arrives_at;
ALTER TABLE job DROP COLUMN set_out_at;
ALTER TABLE job DROP COLUMN other_windows;
DROP INDEX customer_phone;
DROP INDEX customer_email;
ALTER TABLE customer DROP COLUMN snoozed_until_on;
