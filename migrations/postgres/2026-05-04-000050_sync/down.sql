DROP TABLE sync_index;
DROP TABLE sync_scope;
DROP TABLE sync_clock;
