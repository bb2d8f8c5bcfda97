-- Settings that were taken over from what was measured, and taken back.
CREATE TABLE learned_settings (
    id          uuid PRIMARY KEY,
    what        text NOT NULL CONSTRAINT learned_settings_known
                CHECK (what IN ('metal_loss', 'lift_s', 'finishing_minutes', 'shrinkage')),
    -- Of which printer, design or alloy, by its id; empty for the studio's own.
    item        text NOT NULL DEFAULT '',
    before      double precision NOT NULL,
    after       double precision NOT NULL,
    records     integer NOT NULL CONSTRAINT learned_settings_records CHECK (records > 0),
    working     jsonb NOT NULL,
    taken_at    timestamptz NOT NULL,
    taken_by    uuid REFERENCES people,
    reversed_at timestamptz,
    reversed_by uuid REFERENCES people
);
CREATE INDEX learned_settings_by_item ON learned_settings (what, item, taken_at DESC);

-- What finishing a piece of a design usually takes; a new order starts from it.
ALTER TABLE designs ADD COLUMN finishing_minutes integer
    CONSTRAINT designs_finishing CHECK (finishing_minutes BETWEEN 0 AND 10000);
