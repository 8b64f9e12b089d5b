CREATE TABLE upkeep_need_old (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    key TEXT NOT NULL,
    kind TEXT NOT NULL,
    remind_on DATE NOT NULL,
    due_on DATE NOT NULL,
    early_on DATE,
    late_on DATE,
    overdue_on DATE,
    PRIMARY KEY (shop, vehicle, key)
) WITHOUT ROWID;
INSERT INTO upkeep_need_old
    SELECT s.shop, s.vehicle, n.value ->> 'key', n.value ->> 'kind', n.value ->> 'remind_on', n.value ->> 'due_on',
        n.value ->> 'early_on', n.value ->> 'late_on', n.value ->> 'overdue_on'
    FROM upkeep_state s, json_each(s.needs) n;
DROP TABLE upkeep_need;
ALTER TABLE upkeep_need_old RENAME TO upkeep_need;
CREATE INDEX upkeep_need_due ON upkeep_need (shop, due_on, vehicle, key);

CREATE TABLE upkeep_state_old (
    shop TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    rev INTEGER NOT NULL,
    basis INTEGER NOT NULL,
    computed_on DATE,
    recheck_on DATE,
    past TEXT,
    fault TEXT,
    PRIMARY KEY (shop, vehicle),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle (shop, id)
) WITHOUT ROWID;
INSERT INTO upkeep_state_old SELECT shop, vehicle, rev, basis, computed_on, recheck_on, past, fault FROM upkeep_state;
DROP TABLE upkeep_state;
ALTER TABLE upkeep_state_old RENAME TO upkeep_state;
CREATE INDEX upkeep_state_basis ON upkeep_state (shop, basis, vehicle);
CREATE INDEX upkeep_state_recheck ON upkeep_state (shop, recheck_on, vehicle) WHERE recheck_on IS NOT NULL;
