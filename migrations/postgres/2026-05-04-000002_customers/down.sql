DROP TABLE van;
DROP TABLE vehicle;
DROP TABLE consent;
DROP TABLE customer;
