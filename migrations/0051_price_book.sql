-- The price book: premiums over the fine metals, gas, rates by task, taxes and
-- classes of clients, the least an order is worth, and how amounts are rounded.

ALTER TABLE prices DROP CONSTRAINT prices_kind_known;
ALTER TABLE prices ADD CONSTRAINT prices_kind_known
    CHECK (kind IN ('fine_metal', 'alloy', 'premium', 'resin', 'investment', 'electricity', 'gas'));
COMMENT ON COLUMN prices.item IS
    'fine_metal: the chemical symbol; alloy, premium, resin, investment: the id; electricity, gas: empty';

-- Work that is not part of every piece: drawing, setting, polishing, engraving.
CREATE TABLE tasks (
    id         uuid PRIMARY KEY,
    name       text NOT NULL CONSTRAINT tasks_name_unique UNIQUE
               CONSTRAINT tasks_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 80),
    hour_rate  numeric(12, 4) NOT NULL CONSTRAINT tasks_rate CHECK (hour_rate >= 0),
    retired_at timestamptz
);

CREATE TABLE taxes (
    id         uuid PRIMARY KEY,
    name       text NOT NULL CONSTRAINT taxes_name_unique UNIQUE
               CONSTRAINT taxes_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 40),
    rate       numeric(6, 4) NOT NULL CONSTRAINT taxes_rate CHECK (rate BETWEEN 0 AND 1),
    inclusive  boolean NOT NULL DEFAULT false,
    retired_at timestamptz
);
COMMENT ON TABLE taxes IS 'beside the studio''s own tax: reduced, none, of another country';

CREATE TABLE client_classes (
    id         uuid PRIMARY KEY,
    name       text NOT NULL CONSTRAINT client_classes_name_unique UNIQUE
               CONSTRAINT client_classes_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 80),
    discount   numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT client_classes_discount CHECK (discount BETWEEN 0 AND 1),
    tax_id     uuid REFERENCES taxes,
    retired_at timestamptz
);
ALTER TABLE clients ADD COLUMN class_id uuid REFERENCES client_classes;

CREATE TABLE price_rules (
    id        boolean PRIMARY KEY DEFAULT true CONSTRAINT price_rules_single CHECK (id),
    least_net numeric(18, 4) NOT NULL DEFAULT 0 CONSTRAINT price_rules_least CHECK (least_net >= 0),
    rounding  text NOT NULL DEFAULT 'line' CONSTRAINT price_rules_rounding CHECK (rounding IN ('line', 'total')),
    price_by  text NOT NULL DEFAULT 'piece' CONSTRAINT price_rules_by CHECK (price_by IN ('piece', 'line')),
    version   bigint NOT NULL DEFAULT 1
);
COMMENT ON COLUMN price_rules.rounding IS 'where discount and tax are rounded: on each line, or on the total, which is then shared out';
INSERT INTO price_rules DEFAULT VALUES;
