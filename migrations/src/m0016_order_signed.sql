ALTER TABLE part_order ADD COLUMN signed_by TEXT;
ALTER TABLE part_order ADD COLUMN signed_on TEXT
