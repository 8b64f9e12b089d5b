DROP TABLE promise;
