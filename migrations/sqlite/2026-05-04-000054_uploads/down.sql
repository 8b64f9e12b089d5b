DROP TABLE upload_part;
DROP TABLE upload;
