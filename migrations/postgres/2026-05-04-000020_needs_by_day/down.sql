SELECT set_config('lustrum.shop', '*', true);

DELETE FROM upkeep_need;
ALTER TABLE upkeep_need
    DROP CONSTRAINT upkeep_need_pkey,
    ADD COLUMN remind_on DATE NOT NULL,
    ADD COLUMN early_on DATE,
    ADD COLUMN late_on DATE,
    ADD COLUMN overdue_on DATE,
    ADD PRIMARY KEY (shop, vehicle, key);
INSERT INTO upkeep_need (shop, vehicle, key, kind, remind_on, due_on, early_on, late_on, overdue_on)
    SELECT s.shop, s.vehicle, n.key, n.kind, n.remind_on, n.due_on, n.early_on, n.late_on, n.overdue_on
    FROM upkeep_state s, json_to_recordset(s.needs::json) AS n (key TEXT, kind TEXT, remind_on DATE, due_on DATE,
        early_on DATE, late_on DATE, overdue_on DATE);
CREATE INDEX upkeep_need_due ON upkeep_need (shop, due_on, vehicle, key);

ALTER TABLE upkeep_state DROP COLUMN needs, DROP COLUMN remind_on;
