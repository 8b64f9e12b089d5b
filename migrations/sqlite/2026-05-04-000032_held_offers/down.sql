DROP TABLE held_offer;
