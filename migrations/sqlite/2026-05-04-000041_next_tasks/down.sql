UPDATE outbox SET kind = 'send_mail' WHERE kind = 'send_reminder';
DROP INDEX outbox_kind;
DROP INDEX upkeep_state_remind;
CREATE INDEX outbox_due ON outbox (shop, status, due_at);
DROP INDEX outbox_next;
