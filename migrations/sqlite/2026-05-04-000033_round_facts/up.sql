-- What rounds are planned from beside what was known: days off, vans out, what visits ask of each other.
ALTER TABLE person ADD COLUMN days_off TEXT NOT NULL DEFAULT '[]';
ALTER TABLE van ADD COLUMN out_on TEXT NOT NULL DEFAULT '[]';
ALTER TABLE van ADD COLUMN home TEXT;
ALTER TABLE job ADD COLUMN priority INTEGER NOT NULL DEFAULT 3 CHECK (priority BETWEEN 1 AND 5);
ALTER TABLE job ADD COLUMN links TEXT NOT NULL DEFAULT '[]';
