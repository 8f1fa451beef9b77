DROP TABLE pin_removal, pin, travel_matrix, rates, customer_confirmation;
ALTER TABLE job DROP COLUMN promise_told;
