-- Begun lately by one person: counted whenever they begin another.
CREATE INDEX upload_person ON upload (shop, person, created_at);
