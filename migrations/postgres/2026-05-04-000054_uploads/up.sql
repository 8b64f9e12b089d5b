-- Bytes that come in pieces, and are picked up where the line broke.
CREATE TABLE upload (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    person TEXT NOT NULL,
    media_type TEXT NOT NULL,
    length_bytes BIGINT NOT NULL,
    received_bytes BIGINT NOT NULL,
    expires_at TIMESTAMP,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);
CREATE INDEX upload_expires ON upload (shop, expires_at);

CREATE TABLE upload_part (
    shop TEXT NOT NULL,
    upload TEXT NOT NULL,
    from_byte BIGINT NOT NULL,
    bytes BYTEA NOT NULL,
    PRIMARY KEY (shop, upload, from_byte),
    FOREIGN KEY (shop, upload) REFERENCES upload (shop, id)
);
