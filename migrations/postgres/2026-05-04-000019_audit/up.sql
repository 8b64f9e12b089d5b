-- Who changed what and when: rows are added, never changed, and each is chained to the one before. And when a customer
-- was erased.
CREATE TABLE audit_entry (
    shop TEXT NOT NULL REFERENCES shop (id),
    number INTEGER NOT NULL,
    at TIMESTAMP NOT NULL,
    by_kind TEXT NOT NULL CHECK (by_kind IN ('person', 'app', 'house')),
    by_id TEXT,
    operation TEXT NOT NULL,
    subject TEXT NOT NULL,
    request TEXT NOT NULL,
    hash TEXT NOT NULL,
    PRIMARY KEY (shop, number)
);

CREATE TABLE audit_head (
    shop TEXT NOT NULL PRIMARY KEY REFERENCES shop (id),
    number INTEGER NOT NULL,
    hash TEXT NOT NULL
);

CREATE FUNCTION audit_entry_stays() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'audit entries are never changed or deleted';
END
$$;

CREATE TRIGGER audit_entry_kept BEFORE UPDATE OR DELETE ON audit_entry
    FOR EACH ROW EXECUTE FUNCTION audit_entry_stays();

ALTER TABLE customer ADD COLUMN erased_at TIMESTAMP;
