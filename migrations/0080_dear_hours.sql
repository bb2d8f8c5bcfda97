-- By how many minutes a piece may be late for an hour of heating outside the cheapest hours; 0:
-- the price of electricity does not count in plans.
ALTER TABLE studio ADD COLUMN dear_hour_min integer NOT NULL DEFAULT 1
    CONSTRAINT studio_dear_hour CHECK (dear_hour_min BETWEEN 0 AND 600);
-- What a plan's firings cost, and those of a plan of the same flasks that does not look at prices.
ALTER TABLE plans ADD COLUMN power jsonb;
