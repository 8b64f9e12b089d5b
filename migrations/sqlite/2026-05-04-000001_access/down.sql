DROP TABLE signing_key;
DROP TABLE partner_app;
DROP TABLE refresh_token;
DROP TABLE login;
DROP TABLE person;
DROP TABLE shop;
