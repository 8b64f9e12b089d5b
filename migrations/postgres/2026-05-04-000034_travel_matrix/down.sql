DROP TABLE travel_matrix;
