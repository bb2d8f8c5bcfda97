-- What an order took changes what the next quote starts from: taken over with one tap, and given
-- back with another.

-- What quotes start from in place of what is reckoned; of which kiln, or of anything.
CREATE TABLE quote_starts (
    what  text NOT NULL CONSTRAINT quote_starts_known
          CHECK (what IN ('supports_percent', 'powder_kg', 'kiln_kwh', 'kiln_hours', 'gas_kg')),
    item  text NOT NULL DEFAULT '',
    value numeric(12, 4) NOT NULL CONSTRAINT quote_starts_value CHECK (value >= 0),
    PRIMARY KEY (what, item)
);

CREATE TABLE price_changes (
    id          uuid PRIMARY KEY,
    what        text NOT NULL CONSTRAINT price_changes_known
                CHECK (what IN ('metal_loss', 'bench_minutes', 'finishing_minutes', 'supports_percent', 'powder_kg',
                                'kiln_kwh', 'kiln_hours', 'gas_kg')),
    -- Of which design by its number, of which kiln by its id; empty for the studio's own.
    item        text NOT NULL DEFAULT '',
    -- None where it was reckoned.
    before      numeric(12, 4),
    after       numeric(12, 4) NOT NULL,
    order_id    uuid NOT NULL REFERENCES orders,
    taken_at    timestamptz NOT NULL,
    taken_by    uuid REFERENCES people,
    reversed_at timestamptz,
    reversed_by uuid REFERENCES people
);
CREATE INDEX price_changes_by_order ON price_changes (order_id, taken_at DESC);
