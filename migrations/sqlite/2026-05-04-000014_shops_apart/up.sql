-- SQLite has no row-level security. Here a test reads every statement and demands that it names the shop.
SELECT 1;
