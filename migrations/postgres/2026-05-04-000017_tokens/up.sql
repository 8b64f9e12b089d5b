-- Keys change, tokens end before their time, and logins tell where they come from; and what keeps guessing slow.
ALTER TABLE signing_key ADD COLUMN signs_from TIMESTAMP;

CREATE TABLE revoked_token (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    expires_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id)
);

ALTER TABLE login ADD COLUMN seen_at TIMESTAMP;
ALTER TABLE login ADD COLUMN address TEXT;
ALTER TABLE login ADD COLUMN client TEXT;

CREATE TABLE login_failure (
    shop TEXT NOT NULL REFERENCES shop (id),
    source TEXT NOT NULL,
    failures INTEGER NOT NULL,
    last_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, source)
);
