-- What a forecast found is kept with the vehicle's state; upkeep_need is the list of it by day and no more.

-- With a rowid: rows of this size in the tree of a key would each spill over to a page of their own.
CREATE TABLE upkeep_state_new (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    rev INTEGER NOT NULL,
    basis INTEGER NOT NULL,
    computed_on DATE,
    recheck_on DATE,
    -- The first day on which there is something to tell.
    remind_on DATE,
    -- The days of its needs, as a JSON list; the words are made when somebody reads.
    needs TEXT NOT NULL DEFAULT '[]',
    past TEXT,
    fault TEXT,
    PRIMARY KEY (shop, vehicle),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id)
);
INSERT INTO upkeep_state_new (shop, vehicle, rev, basis, computed_on, recheck_on, past, fault)
    SELECT shop, vehicle, rev, basis, computed_on, recheck_on, past, fault FROM upkeep_state ORDER BY shop, vehicle;
UPDATE upkeep_state_new AS s SET
    remind_on = (SELECT min(remind_on) FROM upkeep_need n WHERE n.shop = s.shop AND n.vehicle = s.vehicle),
    needs = (
        SELECT json_group_array(json_object('key', key, 'kind', kind, 'remind_on', remind_on, 'due_on', due_on,
            'early_on', early_on, 'late_on', late_on, 'overdue_on', overdue_on))
        FROM upkeep_need n WHERE n.shop = s.shop AND n.vehicle = s.vehicle);
DROP TABLE upkeep_state;
ALTER TABLE upkeep_state_new RENAME TO upkeep_state;
CREATE INDEX upkeep_state_basis ON upkeep_state (shop, basis, vehicle);
CREATE INDEX upkeep_state_recheck ON upkeep_state (shop, recheck_on, vehicle) WHERE recheck_on IS NOT NULL;

CREATE TABLE upkeep_need_new (
    shop TEXT NOT NULL,
    due_on DATE NOT NULL,
    vehicle TEXT NOT NULL,
    key TEXT NOT NULL,
    kind TEXT NOT NULL,
    PRIMARY KEY (shop, due_on, vehicle, key)
) WITHOUT ROWID;
INSERT INTO upkeep_need_new SELECT shop, due_on, vehicle, key, kind FROM upkeep_need ORDER BY shop, due_on, vehicle, key;
DROP TABLE upkeep_need;
ALTER TABLE upkeep_need_new RENAME TO upkeep_need;
