DROP TABLE photo;
DROP TABLE crew_note;
DROP TABLE job_comment;
DROP TABLE step_act;
DROP TABLE step_state;
