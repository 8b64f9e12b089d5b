-- The next tasks are the first entries of an index, however many wait behind them. Reminders go by more ways than mail.
CREATE INDEX outbox_next ON outbox (shop, status, due_at, id, kind);
DROP INDEX outbox_due;
-- Of whom something about upkeep may have to be told.
CREATE INDEX upkeep_state_remind ON upkeep_state (shop, remind_on, vehicle);
CREATE INDEX outbox_kind ON outbox (shop, kind, id);
UPDATE outbox SET kind = 'send_reminder' WHERE kind = 'send_mail';
