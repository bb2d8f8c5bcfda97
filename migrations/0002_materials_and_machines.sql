-- What the studio casts with and on.

CREATE TABLE alloys (
    id               uuid PRIMARY KEY,
    name             text NOT NULL CONSTRAINT alloys_name_unique UNIQUE CONSTRAINT alloys_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 120),
    family           text NOT NULL CONSTRAINT alloys_family_known
                     CHECK (family IN ('gold', 'silver', 'copper', 'platinum', 'palladium', 'other')),
    density_g_cm3    double precision NOT NULL CONSTRAINT alloys_density CHECK (density_g_cm3 > 0.5 AND density_g_cm3 < 25),
    solidus_c        double precision,
    liquidus_c       double precision,
    melt_c           double precision NOT NULL CONSTRAINT alloys_melt CHECK (melt_c > 0 AND melt_c < 2500),
    flask_c          double precision NOT NULL CONSTRAINT alloys_flask CHECK (flask_c >= 0 AND flask_c < 1500),
    shrinkage        double precision NOT NULL DEFAULT 0 CONSTRAINT alloys_shrinkage CHECK (shrinkage >= 0 AND shrinkage < 0.1),
    source           text NOT NULL DEFAULT '',
    retired_at       timestamptz,
    CONSTRAINT alloys_melting_range CHECK (solidus_c IS NULL OR liquidus_c IS NULL OR solidus_c <= liquidus_c)
);

CREATE TABLE alloy_parts (
    alloy_id          uuid NOT NULL REFERENCES alloys ON DELETE CASCADE,
    metal             text NOT NULL CONSTRAINT alloy_parts_symbol CHECK (metal ~ '^[A-Z][a-z]?$'),
    parts_per_thousand numeric(7, 3) NOT NULL CONSTRAINT alloy_parts_share CHECK (parts_per_thousand > 0 AND parts_per_thousand <= 1000),
    PRIMARY KEY (alloy_id, metal)
);

CREATE TABLE resins (
    id             uuid PRIMARY KEY,
    name           text NOT NULL CONSTRAINT resins_name_unique UNIQUE,
    density_g_cm3  double precision NOT NULL CONSTRAINT resins_density CHECK (density_g_cm3 > 0.5 AND density_g_cm3 < 3),
    shrinkage      double precision NOT NULL DEFAULT 0 CONSTRAINT resins_shrinkage CHECK (shrinkage >= 0 AND shrinkage < 0.1),
    wash_minutes   integer NOT NULL DEFAULT 5 CONSTRAINT resins_wash CHECK (wash_minutes BETWEEN 0 AND 600),
    cure_minutes   integer NOT NULL DEFAULT 30 CONSTRAINT resins_cure CHECK (cure_minutes BETWEEN 1 AND 1440),
    source         text NOT NULL DEFAULT '',
    retired_at     timestamptz,
    version            bigint NOT NULL DEFAULT 1
);

CREATE TABLE resin_lots (
    id        uuid PRIMARY KEY,
    resin_id  uuid NOT NULL REFERENCES resins,
    lot       text NOT NULL,
    opened_on date NOT NULL,
    volume_ml double precision NOT NULL CONSTRAINT resin_lots_volume CHECK (volume_ml > 0),
    used_up_at timestamptz,
    CONSTRAINT resin_lots_unique UNIQUE (resin_id, lot)
);

CREATE TABLE printers (
    id                 uuid PRIMARY KEY,
    name               text NOT NULL CONSTRAINT printers_name_unique UNIQUE,
    width_mm           double precision NOT NULL CONSTRAINT printers_width CHECK (width_mm > 0),
    depth_mm           double precision NOT NULL CONSTRAINT printers_depth CHECK (depth_mm > 0),
    height_mm          double precision NOT NULL CONSTRAINT printers_height CHECK (height_mm > 0),
    layer_um           integer NOT NULL DEFAULT 50 CONSTRAINT printers_layer CHECK (layer_um BETWEEN 5 AND 500),
    exposure_s         double precision NOT NULL DEFAULT 6 CONSTRAINT printers_exposure CHECK (exposure_s > 0),
    bottom_layers      integer NOT NULL DEFAULT 5 CONSTRAINT printers_bottom_layers CHECK (bottom_layers >= 0),
    bottom_exposure_s  double precision NOT NULL DEFAULT 40 CONSTRAINT printers_bottom_exposure CHECK (bottom_exposure_s > 0),
    lift_s             double precision NOT NULL DEFAULT 6 CONSTRAINT printers_lift CHECK (lift_s >= 0),
    hour_rate          numeric(12, 4) NOT NULL DEFAULT 0 CONSTRAINT printers_rate CHECK (hour_rate >= 0),
    retired_at         timestamptz,
    version            bigint NOT NULL DEFAULT 1
);

CREATE TABLE investments (
    id                 uuid PRIMARY KEY,
    name               text NOT NULL CONSTRAINT investments_name_unique UNIQUE,
    kind               text NOT NULL CONSTRAINT investments_kind_known CHECK (kind IN ('gypsum', 'phosphate')),
    water_per_100      double precision NOT NULL CONSTRAINT investments_water CHECK (water_per_100 > 5 AND water_per_100 < 100),
    working_minutes    double precision NOT NULL DEFAULT 9 CONSTRAINT investments_working CHECK (working_minutes > 0),
    bench_set_min      integer NOT NULL DEFAULT 120 CONSTRAINT investments_bench_set CHECK (bench_set_min >= 0),
    latest_start_min   integer NOT NULL DEFAULT 1440,
    source             text NOT NULL DEFAULT '',
    retired_at         timestamptz,
    CONSTRAINT investments_window CHECK (latest_start_min > bench_set_min)
);

CREATE TABLE flask_types (
    id          uuid PRIMARY KEY,
    name        text NOT NULL CONSTRAINT flask_types_name_unique UNIQUE,
    diameter_mm integer NOT NULL CONSTRAINT flask_types_diameter CHECK (diameter_mm BETWEEN 20 AND 1000),
    height_mm   integer NOT NULL CONSTRAINT flask_types_height CHECK (height_mm BETWEEN 20 AND 1000),
    wall_mm     double precision NOT NULL DEFAULT 2 CONSTRAINT flask_types_wall CHECK (wall_mm > 0),
    wall_kind   text NOT NULL DEFAULT 'solid' CONSTRAINT flask_types_wall_kind CHECK (wall_kind IN ('solid', 'perforated')),
    size_class  text NOT NULL CONSTRAINT flask_types_size_class CHECK (size_class IN ('S', 'M', 'L')),
    owned       integer NOT NULL DEFAULT 1 CONSTRAINT flask_types_owned CHECK (owned >= 0),
    retired_at  timestamptz,
    CONSTRAINT flask_types_wall_thin CHECK (2 * wall_mm < diameter_mm)
);

-- A programme family: flasks that can be burnt out by the same kind of firing.
CREATE TABLE burnout_families (
    id            uuid PRIMARY KEY,
    name          text NOT NULL CONSTRAINT burnout_families_name_unique UNIQUE,
    pattern       text NOT NULL CONSTRAINT burnout_families_pattern CHECK (pattern IN ('resin', 'wax')),
    investment_kind text NOT NULL CONSTRAINT burnout_families_investment CHECK (investment_kind IN ('gypsum', 'phosphate')),
    retired_at    timestamptz
);

-- Segments of a firing by family and size class: to `target_c` in `minutes`.
CREATE TABLE programme_segments (
    family_id  uuid NOT NULL REFERENCES burnout_families ON DELETE CASCADE,
    size_class text NOT NULL CONSTRAINT programme_segments_size CHECK (size_class IN ('S', 'M', 'L')),
    n          integer NOT NULL,
    kind       text NOT NULL CONSTRAINT programme_segments_kind CHECK (kind IN ('ramp', 'hold')),
    target_c   double precision NOT NULL CONSTRAINT programme_segments_target CHECK (target_c >= 0 AND target_c <= 1400),
    minutes    integer NOT NULL CONSTRAINT programme_segments_minutes CHECK (minutes > 0 AND minutes <= 10080),
    PRIMARY KEY (family_id, size_class, n)
);

CREATE TABLE incompatible_families (
    one_id   uuid NOT NULL REFERENCES burnout_families ON DELETE CASCADE,
    other_id uuid NOT NULL REFERENCES burnout_families ON DELETE CASCADE,
    PRIMARY KEY (one_id, other_id),
    CONSTRAINT incompatible_families_ordered CHECK (one_id < other_id)
);

CREATE TABLE kilns (
    id                 uuid PRIMARY KEY,
    name               text NOT NULL CONSTRAINT kilns_name_unique UNIQUE,
    width_mm           integer NOT NULL CONSTRAINT kilns_width CHECK (width_mm > 0),
    depth_mm           integer NOT NULL CONSTRAINT kilns_depth CHECK (depth_mm > 0),
    height_mm          integer NOT NULL CONSTRAINT kilns_height CHECK (height_mm > 0),
    top_c              double precision NOT NULL CONSTRAINT kilns_top CHECK (top_c > 0 AND top_c <= 1400),
    power_kw           double precision NOT NULL CONSTRAINT kilns_power CHECK (power_kw > 0),
    cool_min_per_100c  integer NOT NULL DEFAULT 50 CONSTRAINT kilns_cool CHECK (cool_min_per_100c >= 0),
    turnaround_min     integer NOT NULL DEFAULT 75 CONSTRAINT kilns_turnaround CHECK (turnaround_min >= 0),
    hour_rate          numeric(12, 4) NOT NULL DEFAULT 0 CONSTRAINT kilns_rate CHECK (hour_rate >= 0),
    retired_at         timestamptz
);

CREATE TABLE kiln_outages (
    id      uuid PRIMARY KEY,
    kiln_id uuid NOT NULL REFERENCES kilns,
    from_at timestamptz NOT NULL,
    to_at   timestamptz NOT NULL,
    reason  text NOT NULL DEFAULT '',
    CONSTRAINT kiln_outages_forward CHECK (from_at < to_at)
);
CREATE INDEX kiln_outages_by_kiln ON kiln_outages (kiln_id, to_at);

-- Prices by date; the newest one not after the day counts.
CREATE TABLE prices (
    id         uuid PRIMARY KEY,
    kind       text NOT NULL CONSTRAINT prices_kind_known
               CHECK (kind IN ('fine_metal', 'alloy', 'resin', 'investment', 'electricity')),
    item       text NOT NULL DEFAULT '',
    unit       text NOT NULL CONSTRAINT prices_unit_known CHECK (unit IN ('g', 'ml', 'kg', 'kWh')),
    amount     numeric(20, 8) NOT NULL CONSTRAINT prices_amount CHECK (amount >= 0),
    currency   char(3) NOT NULL,
    valid_from date NOT NULL,
    noted_by   uuid REFERENCES people,
    noted_at   timestamptz NOT NULL,
    CONSTRAINT prices_one_a_day UNIQUE (kind, item, valid_from)
);
COMMENT ON COLUMN prices.item IS 'fine_metal: the chemical symbol; alloy, resin, investment: the id; electricity: empty';
