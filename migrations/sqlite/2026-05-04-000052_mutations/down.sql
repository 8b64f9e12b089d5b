DROP TABLE mutation;
