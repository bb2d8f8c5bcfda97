-- Prices move no firing until the owner says how late a piece may be for it.
ALTER TABLE studio ALTER COLUMN dear_hour_min SET DEFAULT 0;
UPDATE studio SET dear_hour_min = 0;
