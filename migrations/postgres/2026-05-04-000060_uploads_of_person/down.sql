DROP INDEX upload_person;
