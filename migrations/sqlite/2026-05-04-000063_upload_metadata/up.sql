-- What a client said of an upload when it began it; it is told so again.
ALTER TABLE upload ADD COLUMN metadata TEXT NOT NULL DEFAULT '';
