-- What electricity costs by the hour of the week; the newest one not after the day counts.

CREATE TABLE tariffs (
    id         uuid PRIMARY KEY,
    name       text NOT NULL CONSTRAINT tariffs_named CHECK (length(btrim(name)) BETWEEN 1 AND 120),
    currency   char(3) NOT NULL,
    -- The price outside the hours that have their own.
    base_price numeric(12, 6) NOT NULL CONSTRAINT tariffs_base CHECK (base_price >= 0),
    valid_from date NOT NULL CONSTRAINT tariffs_one_a_day UNIQUE,
    noted_by   uuid REFERENCES people,
    noted_at   timestamptz NOT NULL
);

CREATE TABLE tariff_hours (
    tariff_id uuid NOT NULL REFERENCES tariffs ON DELETE CASCADE,
    n         integer NOT NULL,
    days      text NOT NULL CONSTRAINT tariff_hours_days
              CHECK (days IN ('every', 'weekdays', 'weekend', 'saturday', 'sunday')),
    -- Minutes of the day; an end not after the beginning is on the next day.
    from_min  integer NOT NULL CONSTRAINT tariff_hours_from CHECK (from_min BETWEEN 0 AND 1439),
    to_min    integer NOT NULL CONSTRAINT tariff_hours_to CHECK (to_min BETWEEN 0 AND 1439),
    price     numeric(12, 6) NOT NULL CONSTRAINT tariff_hours_price CHECK (price >= 0),
    PRIMARY KEY (tariff_id, n)
);
