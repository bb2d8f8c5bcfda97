-- How a printer is set for a kind of work, by name; and what was found on pieces.
CREATE TABLE printer_profiles (
    id                uuid PRIMARY KEY,
    printer_id        uuid NOT NULL REFERENCES printers,
    name              text NOT NULL CONSTRAINT printer_profiles_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 120),
    layer_um          integer NOT NULL CONSTRAINT printer_profiles_layer CHECK (layer_um BETWEEN 5 AND 500),
    exposure_s        double precision NOT NULL CONSTRAINT printer_profiles_exposure CHECK (exposure_s > 0),
    bottom_layers     integer NOT NULL CONSTRAINT printer_profiles_bottom_layers CHECK (bottom_layers >= 0),
    bottom_exposure_s double precision NOT NULL CONSTRAINT printer_profiles_bottom_exposure CHECK (bottom_exposure_s > 0),
    lift_mm           double precision NOT NULL CONSTRAINT printer_profiles_lift_mm CHECK (lift_mm > 0),
    -- Lift, return and wait for a layer.
    lift_s            double precision NOT NULL CONSTRAINT printer_profiles_lift CHECK (lift_s >= 0),
    vat_c             double precision CONSTRAINT printer_profiles_vat CHECK (vat_c BETWEEN 5 AND 80),
    retired_at        timestamptz,
    version           bigint NOT NULL DEFAULT 1,
    CONSTRAINT printer_profiles_name_unique UNIQUE (printer_id, name)
);

-- A plate keeps how it was set, whatever becomes of the printer's usual settings.
ALTER TABLE plates
    ADD COLUMN profile_id uuid REFERENCES printer_profiles,
    ADD COLUMN bottom_layers integer CONSTRAINT plates_bottom_layers CHECK (bottom_layers >= 0),
    ADD COLUMN bottom_exposure_s double precision CONSTRAINT plates_bottom_exposure CHECK (bottom_exposure_s > 0),
    ADD COLUMN lift_mm double precision CONSTRAINT plates_lift_mm CHECK (lift_mm > 0),
    ADD COLUMN lift_s double precision CONSTRAINT plates_lift CHECK (lift_s >= 0),
    ADD COLUMN vat_c double precision CONSTRAINT plates_vat CHECK (vat_c BETWEEN 5 AND 80),
    -- More supports where a piece first touches the plate's side of the resin.
    ADD COLUMN first_contact boolean NOT NULL DEFAULT false,
    ADD COLUMN orientation text NOT NULL DEFAULT 'as drawn'
        CONSTRAINT plates_orientation CHECK (orientation IN ('as drawn', 'flat', 'tilted', 'upright', 'mixed'));
UPDATE plates p SET bottom_layers = r.bottom_layers, bottom_exposure_s = r.bottom_exposure_s, lift_s = r.lift_s
    FROM printers r WHERE r.id = p.printer_id;

-- What was found on a piece at a stage, and where: in words, or as a place on a picture of
-- its model, in shares of the picture's width and height from its upper left corner.
CREATE TABLE findings (
    id            uuid PRIMARY KEY,
    attempt_id    uuid NOT NULL REFERENCES attempts,
    stage         stage NOT NULL,
    what          text NOT NULL CONSTRAINT findings_what_given CHECK (length(btrim(what)) BETWEEN 1 AND 200),
    place         text NOT NULL DEFAULT '',
    view          text CONSTRAINT findings_view CHECK (view IN ('corner', 'front', 'right', 'top', 'back', 'left')),
    x             double precision CONSTRAINT findings_x CHECK (x BETWEEN 0 AND 1),
    y             double precision CONSTRAINT findings_y CHECK (y BETWEEN 0 AND 1),
    -- Whether it can be mended; else it is why the piece failed.
    to_mend       boolean NOT NULL,
    mended_at     timestamptz,
    at            timestamptz NOT NULL,
    person_id     uuid REFERENCES people,
    taken_back_at timestamptz,
    CONSTRAINT findings_place_whole CHECK ((view IS NULL) = (x IS NULL) AND (x IS NULL) = (y IS NULL))
);
CREATE INDEX findings_by_attempt ON findings (attempt_id);
CREATE TRIGGER findings_announced AFTER INSERT OR UPDATE ON findings
    FOR EACH ROW EXECUTE FUNCTION announce_change('attempt_id');

-- What was melted and how it was poured, beside the figures that were kept already.
ALTER TABLE pours
    ADD COLUMN fresh_lot_id uuid REFERENCES metal_lots,
    -- The flasks whose returns were melted again, as written on the bag.
    ADD COLUMN returns_from text NOT NULL DEFAULT '',
    ADD COLUMN cover text NOT NULL DEFAULT ''
        CONSTRAINT pours_cover CHECK (cover IN ('', 'none', 'flux', 'charcoal', 'inert gas', 'vacuum')),
    ADD COLUMN vacuum_kpa double precision CONSTRAINT pours_vacuum CHECK (vacuum_kpa BETWEEN 0 AND 101.4),
    ADD COLUMN spin_rpm double precision CONSTRAINT pours_spin CHECK (spin_rpm > 0 AND spin_rpm <= 3000);
