DROP TABLE held_place, held_offer;
