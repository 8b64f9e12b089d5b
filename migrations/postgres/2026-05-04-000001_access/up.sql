-- Shops, their people and partner apps, and what logs them in.
CREATE TABLE shop (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    time_zone TEXT NOT NULL,
    language TEXT NOT NULL,
    settings TEXT NOT NULL,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL
);

CREATE TABLE person (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    email TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('owner', 'dispatcher', 'lead', 'technician')),
    password_hash TEXT,
    skills TEXT NOT NULL,
    trainee BOOLEAN NOT NULL,
    hours TEXT NOT NULL,
    home_van TEXT,
    disabled_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, email)
);

-- One row per login; its refresh tokens are one family and die with it.
CREATE TABLE login (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    person TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL,
    expires_at TIMESTAMP NOT NULL,
    revoked_at TIMESTAMP,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, person) REFERENCES person (shop, id)
);
CREATE INDEX login_person ON login (shop, person);

CREATE TABLE refresh_token (
    shop TEXT NOT NULL,
    hash TEXT NOT NULL,
    login TEXT NOT NULL,
    used_at TIMESTAMP,
    successor TEXT,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, hash),
    FOREIGN KEY (shop, login) REFERENCES login (shop, id)
);
CREATE INDEX refresh_token_login ON refresh_token (shop, login);

CREATE TABLE partner_app (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    secret_hash TEXT NOT NULL,
    next_secret_hash TEXT,
    scopes TEXT NOT NULL,
    disabled_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id)
);

-- Belongs to the installation, not to a shop.
CREATE TABLE signing_key (
    number INTEGER NOT NULL PRIMARY KEY,
    kid TEXT NOT NULL UNIQUE,
    pkcs8 TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL
);
