-- Who is served, what they drive, and the vans that go there.
CREATE TABLE customer (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    email TEXT,
    phone TEXT,
    language TEXT,
    time_zone TEXT,
    site TEXT NOT NULL,
    note TEXT,
    complaint_open BOOLEAN NOT NULL,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id)
);

-- What a customer allowed or withdrew, in order; the newest row of a channel and purpose is in force.
CREATE TABLE consent (
    shop TEXT NOT NULL,
    customer TEXT NOT NULL,
    id TEXT NOT NULL,
    channel TEXT NOT NULL CHECK (channel IN ('mail', 'text', 'phone')),
    purpose TEXT NOT NULL CHECK (purpose IN ('appointment', 'maintenance', 'aftercare')),
    given BOOLEAN NOT NULL,
    source TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, customer, id),
    FOREIGN KEY (shop, customer) REFERENCES customer (shop, id)
);

CREATE TABLE vehicle (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    customer TEXT NOT NULL,
    label TEXT NOT NULL,
    registration TEXT,
    vin TEXT,
    document TEXT NOT NULL,
    sold_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, customer) REFERENCES customer (shop, id)
);
CREATE INDEX vehicle_customer ON vehicle (shop, customer, id);

CREATE TABLE van (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    kit TEXT NOT NULL,
    seats INTEGER NOT NULL CHECK (seats BETWEEN 1 AND 9),
    retired_at TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id)
);
