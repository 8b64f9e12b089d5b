-- Nothing was made.
SELECT 1;
