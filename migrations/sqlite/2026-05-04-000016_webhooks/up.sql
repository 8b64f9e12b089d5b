-- Who wants to be told of events and where, what each is to be told, and how every attempt went.
CREATE TABLE webhook (
    shop TEXT NOT NULL REFERENCES shop (id),
    id TEXT NOT NULL,
    app TEXT,
    url TEXT NOT NULL,
    events TEXT NOT NULL,
    secret TEXT NOT NULL,
    old_secret TEXT,
    old_secret_until TIMESTAMP,
    delivered_at TIMESTAMP,
    disabled_at TIMESTAMP,
    disabled_because TEXT,
    rev INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, app) REFERENCES partner_app (shop, id)
);
CREATE INDEX webhook_app ON webhook (shop, app, id);

CREATE TABLE webhook_delivery (
    shop TEXT NOT NULL,
    id TEXT NOT NULL,
    webhook TEXT NOT NULL,
    event TEXT NOT NULL,
    payload TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('waiting', 'delivered', 'failed')),
    attempts INTEGER NOT NULL,
    created_at TIMESTAMP NOT NULL,
    settled_at TIMESTAMP,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, webhook) REFERENCES webhook (shop, id)
);
CREATE INDEX webhook_delivery_webhook ON webhook_delivery (shop, webhook, id);

CREATE TABLE webhook_attempt (
    shop TEXT NOT NULL,
    delivery TEXT NOT NULL,
    number INTEGER NOT NULL,
    at TIMESTAMP NOT NULL,
    status INTEGER,
    error TEXT,
    took_ms INTEGER NOT NULL,
    PRIMARY KEY (shop, delivery, number),
    FOREIGN KEY (shop, delivery) REFERENCES webhook_delivery (shop, id)
);
