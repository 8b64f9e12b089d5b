-- Messages by more ways than mail, in the shop's own words, and what customers answer.
ALTER TABLE customer ADD COLUMN snoozed_until_on DATE;
CREATE INDEX customer_email ON customer (shop, (lower(email)));
CREATE INDEX customer_phone ON customer (shop, (replace(replace(replace(replace(replace(replace(replace(phone, ' ', ''), '-', ''), '/', ''), '(', ''), ')', ''), '.', ''), '+', '')));

ALTER TABLE job ADD COLUMN other_windows TEXT NOT NULL DEFAULT '[]';
ALTER TABLE job ADD COLUMN set_out_at TIMESTAMP;
ALTER TABLE job ADD COLUMN arrives_at TIMESTAMP;

CREATE TABLE message_gateway (
    shop TEXT NOT NULL REFERENCES shop (id),
    text_url TEXT,
    secret TEXT NOT NULL,
    old_secret TEXT,
    old_secret_until TIMESTAMP,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop)
);

CREATE TABLE message_template (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    language TEXT NOT NULL,
    template TEXT NOT NULL,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, kind, language)
);

-- What customers wrote or chose; whoever is not known has no customer.
CREATE TABLE customer_reply (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    customer TEXT,
    job TEXT,
    way TEXT NOT NULL CHECK (way IN ('mail', 'text', 'link')),
    sender TEXT NOT NULL,
    text TEXT NOT NULL,
    reading TEXT NOT NULL CHECK (reading IN ('stop', 'stop_and_ask_person', 'ask_person', 'window_chosen', 'visit_wanted')),
    message_key TEXT NOT NULL,
    handled_at TIMESTAMP,
    handled_by TEXT,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, message_key),
    FOREIGN KEY (shop, customer) REFERENCES customer (shop, id),
    FOREIGN KEY (shop, job) REFERENCES job (shop, id),
    FOREIGN KEY (shop, handled_by) REFERENCES person (shop, id)
);
CREATE INDEX customer_reply_customer ON customer_reply (shop, customer, id);
CREATE INDEX customer_reply_open ON customer_reply (shop, handled_at, id);
