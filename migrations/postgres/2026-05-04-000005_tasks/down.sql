DROP TABLE reminder;
DROP TABLE outbox;
DROP TABLE occurrence;
DROP TABLE schedule;
