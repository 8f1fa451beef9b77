ALTER TABLE scaffold_firm DROP COLUMN yard_lat, DROP COLUMN yard_lon, DROP COLUMN reach_km, DROP COLUMN cancel_notice, DROP COLUMN cancel_pence;
