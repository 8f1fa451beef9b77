-- Where a scaffold firm works and what it charges for cancelling. Its yard and how
-- far it goes from there [km, great circle] are known together or not at all:
-- not known = it goes anywhere. A visit that was agreed and is moved or called off
-- within the cancel notice [working days] costs the charge [pence].
ALTER TABLE scaffold_firm ADD COLUMN yard_lat double precision;
ALTER TABLE scaffold_firm ADD COLUMN yard_lon double precision;
ALTER TABLE scaffold_firm ADD COLUMN reach_km integer;
ALTER TABLE scaffold_firm ADD COLUMN cancel_notice integer NOT NULL DEFAULT 0;
ALTER TABLE scaffold_firm ADD COLUMN cancel_pence bigint NOT NULL DEFAULT 0;
ALTER TABLE scaffold_firm ADD CONSTRAINT scaffold_firm_area_is_whole CHECK (
  (reach_km IS NULL) = (yard_lat IS NULL) AND (reach_km IS NULL) = (yard_lon IS NULL));
ALTER TABLE scaffold_firm ADD CONSTRAINT scaffold_firm_area_is_on_earth CHECK (
  reach_km BETWEEN 1 AND 1000 AND yard_lat BETWEEN -90 AND 90 AND yard_lon BETWEEN -180 AND 180);
ALTER TABLE scaffold_firm ADD CONSTRAINT scaffold_firm_cancelling CHECK (
  cancel_notice BETWEEN 0 AND 60 AND cancel_pence >= 0 AND (cancel_pence = 0 OR cancel_notice > 0));
