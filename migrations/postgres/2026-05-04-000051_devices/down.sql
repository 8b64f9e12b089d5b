DROP TABLE device;
