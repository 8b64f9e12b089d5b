DROP TABLE webhook_attempt;
DROP TABLE webhook_delivery;
DROP TABLE webhook;
