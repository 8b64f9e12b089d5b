-- What a forecast found is kept with the vehicle's state; upkeep_need is the list of it by day and no more.

-- The rows of all shops, where tables keep shops apart.
SELECT set_config('lustrum.shop', '*', true);

ALTER TABLE upkeep_state
    -- The first day on which there is something to tell.
    ADD COLUMN remind_on DATE,
    -- The days of its needs, as a JSON list; the words are made when somebody reads.
    ADD COLUMN needs TEXT NOT NULL DEFAULT '[]';
UPDATE upkeep_state s SET remind_on = n.remind_on, needs = n.needs
    FROM (
        SELECT shop, vehicle, min(remind_on) AS remind_on,
            json_agg(json_build_object('key', key, 'kind', kind, 'remind_on', remind_on, 'due_on', due_on,
                'early_on', early_on, 'late_on', late_on, 'overdue_on', overdue_on))::text AS needs
        FROM upkeep_need GROUP BY shop, vehicle) n
    WHERE n.shop = s.shop AND n.vehicle = s.vehicle;

DROP INDEX upkeep_need_due;
ALTER TABLE upkeep_need
    DROP CONSTRAINT upkeep_need_pkey,
    DROP COLUMN remind_on,
    DROP COLUMN early_on,
    DROP COLUMN late_on,
    DROP COLUMN overdue_on,
    ADD PRIMARY KEY (shop, due_on, vehicle, key);
