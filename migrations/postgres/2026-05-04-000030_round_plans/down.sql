DROP TABLE round_plan;
