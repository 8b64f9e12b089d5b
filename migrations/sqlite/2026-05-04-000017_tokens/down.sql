DROP TABLE login_failure;
ALTER TABLE login DROP COLUMN client;
ALTER TABLE login DROP COLUMN address;
ALTER TABLE login DROP COLUMN seen_at;
DROP TABLE revoked_token;
ALTER TABLE signing_key DROP COLUMN signs_from;
