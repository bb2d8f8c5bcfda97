-- How likely an agreed order is ready on its day, as last reckoned: lists mark the day by it, for a
-- forecast takes longer than a list may. Reckoned anew beside the pages whenever pieces move.
CREATE TABLE order_chances (
    order_id    uuid PRIMARY KEY REFERENCES orders ON DELETE CASCADE,
    -- The day it was reckoned for; another day of the order has no chance yet.
    day         date NOT NULL,
    chance      double precision NOT NULL CONSTRAINT order_chances_chance CHECK (chance BETWEEN 0 AND 1),
    reckoned_at timestamptz NOT NULL
);
CREATE TRIGGER order_chances_announced AFTER INSERT OR UPDATE OR DELETE ON order_chances
    FOR EACH ROW EXECUTE FUNCTION announce_change('order_id');
