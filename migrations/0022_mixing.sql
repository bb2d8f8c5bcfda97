-- The bowl and its pump, bags of investment and what is taken from them, and mixes for several
-- flasks at once.

CREATE TABLE mixing_bowl (
    id                boolean PRIMARY KEY DEFAULT true CONSTRAINT mixing_bowl_single CHECK (id),
    brimful_cm3       double precision NOT NULL DEFAULT 6000 CONSTRAINT mixing_bowl_brimful CHECK (brimful_cm3 > 0),
    -- How many times its volume slurry rises to under vacuum.
    boil_up           double precision NOT NULL DEFAULT 2 CONSTRAINT mixing_bowl_boil_up CHECK (boil_up BETWEEN 1 AND 10),
    -- The most slurry the pump brings to boil in time; none when only the bowl limits.
    pump_cm3          double precision CONSTRAINT mixing_bowl_pump CHECK (pump_cm3 > 0),
    flasks_under_bell integer NOT NULL DEFAULT 4 CONSTRAINT mixing_bowl_bell CHECK (flasks_under_bell BETWEEN 1 AND 100),
    allowance_percent double precision NOT NULL DEFAULT 5 CONSTRAINT mixing_bowl_allowance CHECK (allowance_percent BETWEEN 0 AND 50)
);
INSERT INTO mixing_bowl DEFAULT VALUES;

CREATE TABLE investment_lots (
    id            uuid PRIMARY KEY,
    investment_id uuid NOT NULL REFERENCES investments,
    lot           text NOT NULL CONSTRAINT investment_lots_named CHECK (length(btrim(lot)) BETWEEN 1 AND 120),
    mass_g        double precision NOT NULL CONSTRAINT investment_lots_mass CHECK (mass_g > 0),
    received_on   date NOT NULL,
    opened_on     date,
    shelf_months  integer NOT NULL DEFAULT 12 CONSTRAINT investment_lots_shelf CHECK (shelf_months BETWEEN 1 AND 120),
    emptied_on    date,
    CONSTRAINT investment_lots_unique UNIQUE (investment_id, lot),
    CONSTRAINT investment_lots_opened CHECK (opened_on >= received_on)
);

CREATE SEQUENCE mix_numbers;
CREATE TABLE mixes (
    id            uuid PRIMARY KEY,
    number        integer NOT NULL DEFAULT nextval('mix_numbers') CONSTRAINT mixes_number_unique UNIQUE,
    investment_id uuid NOT NULL REFERENCES investments,
    powder_g      double precision NOT NULL CONSTRAINT mixes_powder CHECK (powder_g > 0),
    water_g       double precision NOT NULL CONSTRAINT mixes_water CHECK (water_g > 0),
    slurry_c      double precision NOT NULL,
    clock         jsonb NOT NULL,
    working       jsonb NOT NULL,
    started_at    timestamptz NOT NULL,
    started_by    uuid REFERENCES people
);

ALTER TABLE flasks
    ADD COLUMN mix_id uuid REFERENCES mixes,
    ADD COLUMN collar_mm double precision CONSTRAINT flasks_collar CHECK (collar_mm >= 0),
    ADD COLUMN channels_cm3 double precision CONSTRAINT flasks_channels CHECK (channels_cm3 >= 0);
CREATE INDEX flasks_by_mix ON flasks (mix_id) WHERE mix_id IS NOT NULL;

-- What a flask took of which bag.
CREATE TABLE investment_takings (
    flask_id uuid PRIMARY KEY REFERENCES flasks,
    lot_id   uuid NOT NULL REFERENCES investment_lots,
    grams    double precision NOT NULL CONSTRAINT investment_takings_grams CHECK (grams > 0),
    at       timestamptz NOT NULL
);
CREATE INDEX investment_takings_by_lot ON investment_takings (lot_id);
