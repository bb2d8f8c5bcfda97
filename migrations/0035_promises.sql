-- Dates as they were promised, with the chance that was told with them. Never changed: whether
-- they held is read from the pieces.
CREATE TABLE promises (
    id          uuid PRIMARY KEY,
    order_id    uuid NOT NULL REFERENCES orders,
    -- The quote it was sent with.
    quote_n     integer,
    promised_on date NOT NULL,
    -- The chance that the order is ready on that day; null: none could be told, for this reason.
    chance      double precision CONSTRAINT promises_chance CHECK (chance BETWEEN 0 AND 1),
    reason      text NOT NULL DEFAULT '',
    -- The days told for other chances, and what they rest on.
    forecast    jsonb NOT NULL DEFAULT '{}',
    made_by     uuid REFERENCES people,
    made_at     timestamptz NOT NULL,
    CONSTRAINT promises_reason_or_chance CHECK (chance IS NOT NULL OR reason <> '')
);
CREATE INDEX promises_by_order ON promises (order_id, made_at);
CREATE TRIGGER promises_append_only BEFORE UPDATE OR DELETE ON promises
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
