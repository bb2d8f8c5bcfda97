-- What is done to several pieces together: plates, cure batches, trees in
-- flasks, kiln loads, pours. A row in a join table is open until `left_at`.

CREATE SEQUENCE plate_numbers START 41;
CREATE SEQUENCE cure_batch_numbers START 31;
CREATE SEQUENCE flask_numbers START 201;
CREATE SEQUENCE kiln_load_numbers START 81;
CREATE SEQUENCE plan_numbers START 1;

CREATE TABLE plates (
    id                uuid PRIMARY KEY,
    number            integer NOT NULL DEFAULT nextval('plate_numbers') CONSTRAINT plates_number_unique UNIQUE,
    printer_id        uuid NOT NULL REFERENCES printers,
    resin_lot_id      uuid NOT NULL REFERENCES resin_lots,
    layer_um          integer NOT NULL CONSTRAINT plates_layer CHECK (layer_um BETWEEN 5 AND 500),
    exposure_s        double precision NOT NULL CONSTRAINT plates_exposure CHECK (exposure_s > 0),
    supports          text NOT NULL DEFAULT 'medium' CONSTRAINT plates_supports CHECK (supports IN ('light', 'medium', 'heavy')),
    state             text NOT NULL DEFAULT 'open' CONSTRAINT plates_state_known
                      CHECK (state IN ('open', 'printing', 'done', 'cancelled')),
    -- As reckoned when it was started; a stopped run keeps the share that was printed.
    estimated_min     double precision CONSTRAINT plates_estimate CHECK (estimated_min >= 0),
    resin_ml          double precision CONSTRAINT plates_resin CHECK (resin_ml >= 0),
    note              text NOT NULL DEFAULT '',
    created_at        timestamptz NOT NULL,
    started_at        timestamptz,
    ended_at          timestamptz,
    version           bigint NOT NULL DEFAULT 1,
    CONSTRAINT plates_started CHECK (state NOT IN ('printing', 'done') OR started_at IS NOT NULL),
    CONSTRAINT plates_ended CHECK (state <> 'done' OR ended_at >= started_at)
);
CREATE INDEX plates_by_lot ON plates (resin_lot_id);
CREATE UNIQUE INDEX plates_one_printing ON plates (printer_id) WHERE state = 'printing';
CREATE TRIGGER plates_announced AFTER INSERT OR UPDATE ON plates
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE plate_pieces (
    plate_id   uuid NOT NULL REFERENCES plates,
    attempt_id uuid NOT NULL REFERENCES attempts,
    x_mm       double precision,
    y_mm       double precision,
    turned     boolean NOT NULL DEFAULT false,
    left_at    timestamptz,
    PRIMARY KEY (plate_id, attempt_id)
);
CREATE UNIQUE INDEX plate_pieces_one_open ON plate_pieces (attempt_id) WHERE left_at IS NULL;

CREATE TABLE cure_batches (
    id           uuid PRIMARY KEY,
    number       integer NOT NULL DEFAULT nextval('cure_batch_numbers') CONSTRAINT cure_batches_number_unique UNIQUE,
    state        text NOT NULL DEFAULT 'open' CONSTRAINT cure_batches_state_known
                 CHECK (state IN ('open', 'washing', 'curing', 'done', 'cancelled')),
    wash         text NOT NULL DEFAULT 'isopropyl alcohol',
    wash_minutes integer NOT NULL CONSTRAINT cure_batches_wash CHECK (wash_minutes BETWEEN 0 AND 600),
    medium       text NOT NULL DEFAULT 'air' CONSTRAINT cure_batches_medium CHECK (medium IN ('air', 'water', 'glycerin')),
    cure_minutes integer NOT NULL CONSTRAINT cure_batches_cure CHECK (cure_minutes BETWEEN 1 AND 1440),
    note         text NOT NULL DEFAULT '',
    created_at   timestamptz NOT NULL,
    ended_at     timestamptz,
    version      bigint NOT NULL DEFAULT 1
);
CREATE TRIGGER cure_batches_announced AFTER INSERT OR UPDATE ON cure_batches
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE cure_batch_pieces (
    cure_batch_id uuid NOT NULL REFERENCES cure_batches,
    attempt_id    uuid NOT NULL REFERENCES attempts,
    left_at       timestamptz,
    PRIMARY KEY (cure_batch_id, attempt_id)
);
CREATE UNIQUE INDEX cure_batch_pieces_one_open ON cure_batch_pieces (attempt_id) WHERE left_at IS NULL;

-- A flask: a steel cylinder, the tree that stands in it, its investment, its
-- burnout. One row for each filling.
CREATE TABLE flasks (
    id               uuid PRIMARY KEY,
    number           integer NOT NULL DEFAULT nextval('flask_numbers') CONSTRAINT flasks_number_unique UNIQUE,
    flask_type_id    uuid NOT NULL REFERENCES flask_types,
    alloy_id         uuid NOT NULL REFERENCES alloys,
    investment_id    uuid NOT NULL REFERENCES investments,
    family_id        uuid NOT NULL REFERENCES burnout_families,
    state            text NOT NULL DEFAULT 'treeing' CONSTRAINT flasks_state_known
                     CHECK (state IN ('treeing', 'weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured', 'divested', 'cancelled')),
    base_mass_g      double precision CONSTRAINT flasks_base CHECK (base_mass_g >= 0),
    tree_mass_g      double precision CONSTRAINT flasks_tree CHECK (tree_mass_g > 0),
    pattern_density_g_cm3 double precision CONSTRAINT flasks_pattern_density CHECK (pattern_density_g_cm3 > 0),
    charge_g         double precision CONSTRAINT flasks_charge CHECK (charge_g > 0),
    powder_g         double precision CONSTRAINT flasks_powder CHECK (powder_g > 0),
    water_g          double precision CONSTRAINT flasks_water CHECK (water_g > 0),
    flask_c          double precision NOT NULL CONSTRAINT flasks_cast_at CHECK (flask_c >= 0 AND flask_c < 1500),
    -- How charge, powder and water were reached, as it was when the tree was weighed.
    charge_working     jsonb,
    investment_working jsonb,
    weighed_at       timestamptz,
    mix_started_at   timestamptz,
    -- The steps of the mixing clock: [{name, start_min, end_min}].
    mix_clock        jsonb,
    mixed_at         timestamptz,
    set_from_at      timestamptz,
    latest_start_at  timestamptz,
    note             text NOT NULL DEFAULT '',
    created_at       timestamptz NOT NULL,
    version          bigint NOT NULL DEFAULT 1,
    CONSTRAINT flasks_weighed CHECK (state IN ('treeing', 'cancelled') OR (tree_mass_g IS NOT NULL AND charge_g IS NOT NULL)),
    CONSTRAINT flasks_set CHECK (state IN ('treeing', 'weighed', 'mixing', 'cancelled') OR (mixed_at IS NOT NULL AND set_from_at IS NOT NULL)),
    CONSTRAINT flasks_base_in_tree CHECK (base_mass_g IS NULL OR tree_mass_g IS NULL OR base_mass_g < tree_mass_g)
);
CREATE INDEX flasks_open ON flasks (state) WHERE state NOT IN ('divested', 'cancelled');
CREATE TRIGGER flasks_announced AFTER INSERT OR UPDATE ON flasks
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE flask_pieces (
    flask_id   uuid NOT NULL REFERENCES flasks,
    attempt_id uuid NOT NULL REFERENCES attempts,
    tier       integer NOT NULL DEFAULT 1 CONSTRAINT flask_pieces_tier CHECK (tier BETWEEN 1 AND 50),
    place      integer NOT NULL DEFAULT 1 CONSTRAINT flask_pieces_place CHECK (place BETWEEN 1 AND 200),
    sprues     integer NOT NULL DEFAULT 1 CONSTRAINT flask_pieces_sprues CHECK (sprues BETWEEN 1 AND 20),
    sprue_diameter_mm double precision NOT NULL DEFAULT 3 CONSTRAINT flask_pieces_sprue CHECK (sprue_diameter_mm > 0),
    left_at    timestamptz,
    PRIMARY KEY (flask_id, attempt_id)
);
CREATE UNIQUE INDEX flask_pieces_one_open ON flask_pieces (attempt_id) WHERE left_at IS NULL;

CREATE TABLE plans (
    id          uuid PRIMARY KEY,
    number      integer NOT NULL DEFAULT nextval('plan_numbers') CONSTRAINT plans_number_unique UNIQUE,
    state       text NOT NULL CONSTRAINT plans_state_known CHECK (state IN ('computing', 'proposed', 'accepted', 'replaced', 'failed')),
    day_zero    date NOT NULL,
    instance    jsonb NOT NULL,
    result      jsonb,
    error       text,
    made_by     uuid REFERENCES people,
    made_at     timestamptz NOT NULL,
    accepted_by uuid REFERENCES people,
    accepted_at timestamptz
);
CREATE UNIQUE INDEX plans_one_accepted ON plans ((true)) WHERE state = 'accepted';
CREATE TRIGGER plans_announced AFTER INSERT OR UPDATE ON plans
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE kiln_loads (
    id            uuid PRIMARY KEY,
    number        integer NOT NULL DEFAULT nextval('kiln_load_numbers') CONSTRAINT kiln_loads_number_unique UNIQUE,
    kiln_id       uuid NOT NULL REFERENCES kilns,
    plan_id       uuid REFERENCES plans,
    state         text NOT NULL DEFAULT 'planned' CONSTRAINT kiln_loads_state_known
                  CHECK (state IN ('planned', 'burning', 'held', 'ended', 'cancelled')),
    family_id     uuid NOT NULL REFERENCES burnout_families,
    size_class    text NOT NULL CONSTRAINT kiln_loads_size CHECK (size_class IN ('S', 'M', 'L')),
    -- The firing as it was when the load was made: [{kind, target_c, minutes}].
    programme     jsonb NOT NULL,
    planned_start_at timestamptz NOT NULL,
    planned_held_at  timestamptz NOT NULL,
    started_at    timestamptz,
    held_at       timestamptz,
    ended_at      timestamptz,
    note          text NOT NULL DEFAULT '',
    version       bigint NOT NULL DEFAULT 1,
    CONSTRAINT kiln_loads_started CHECK (state NOT IN ('burning', 'held', 'ended') OR started_at IS NOT NULL),
    CONSTRAINT kiln_loads_held CHECK (state NOT IN ('held', 'ended') OR held_at >= started_at),
    CONSTRAINT kiln_loads_ended CHECK (state <> 'ended' OR ended_at >= held_at)
);
CREATE UNIQUE INDEX kiln_loads_one_under_way ON kiln_loads (kiln_id) WHERE state IN ('burning', 'held');
CREATE INDEX kiln_loads_by_time ON kiln_loads (planned_start_at);
CREATE TRIGGER kiln_loads_announced AFTER INSERT OR UPDATE ON kiln_loads
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE kiln_load_flasks (
    kiln_load_id    uuid NOT NULL REFERENCES kiln_loads,
    flask_id        uuid NOT NULL REFERENCES flasks,
    x_mm            double precision NOT NULL,
    y_mm            double precision NOT NULL,
    planned_pour_at timestamptz NOT NULL,
    left_at         timestamptz,
    PRIMARY KEY (kiln_load_id, flask_id)
);
CREATE UNIQUE INDEX kiln_load_flasks_one_open ON kiln_load_flasks (flask_id) WHERE left_at IS NULL;

-- A wish by hand that the planner must keep: this flask in this kiln at this time.
CREATE TABLE plan_pins (
    flask_id uuid PRIMARY KEY REFERENCES flasks,
    kiln_id  uuid NOT NULL REFERENCES kilns,
    start_at timestamptz NOT NULL,
    made_by  uuid REFERENCES people,
    made_at  timestamptz NOT NULL
);

CREATE TABLE pours (
    id            uuid PRIMARY KEY,
    flask_id      uuid NOT NULL REFERENCES flasks CONSTRAINT pours_once_a_flask UNIQUE,
    kiln_load_id  uuid NOT NULL REFERENCES kiln_loads,
    fresh_cg      bigint NOT NULL CONSTRAINT pours_fresh CHECK (fresh_cg >= 0),
    returns_cg    bigint NOT NULL CONSTRAINT pours_returns CHECK (returns_cg >= 0),
    melt_c        double precision NOT NULL CONSTRAINT pours_melt CHECK (melt_c > 0 AND melt_c < 2500),
    flask_c       double precision NOT NULL CONSTRAINT pours_flask CHECK (flask_c >= 0 AND flask_c < 1500),
    method        text NOT NULL DEFAULT 'vacuum' CONSTRAINT pours_method CHECK (method IN ('gravity', 'vacuum', 'centrifugal')),
    poured_at     timestamptz NOT NULL,
    result        text NOT NULL CONSTRAINT pours_result CHECK (result IN ('good', 'short', 'lost')),
    quench_at     timestamptz,
    note          text NOT NULL DEFAULT '',
    person_id     uuid REFERENCES people,
    CONSTRAINT pours_charge CHECK (fresh_cg + returns_cg > 0)
);
CREATE INDEX pours_by_load ON pours (kiln_load_id);
CREATE TRIGGER pours_announced AFTER INSERT OR UPDATE ON pours
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');

-- A pour needs a flask that is hot: its load is held at casting temperature.
CREATE FUNCTION pour_needs_hot_flask() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM 1 FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id
        WHERE lf.flask_id = NEW.flask_id AND l.id = NEW.kiln_load_id AND l.state = 'held'
          AND lf.left_at IS NULL;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'the flask is not hot'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'pours_flask_is_hot';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER pours_flask_is_hot BEFORE INSERT ON pours
    FOR EACH ROW EXECUTE FUNCTION pour_needs_hot_flask();

-- The last stage, timed and weighed.
CREATE TABLE finishing (
    id            uuid PRIMARY KEY,
    attempt_id    uuid NOT NULL REFERENCES attempts CONSTRAINT finishing_once_an_attempt UNIQUE,
    begun_at      timestamptz NOT NULL,
    raw_cg        bigint CONSTRAINT finishing_raw CHECK (raw_cg > 0),
    finished_cg   bigint CONSTRAINT finishing_weight CHECK (finished_cg > 0),
    minutes       integer CONSTRAINT finishing_minutes CHECK (minutes BETWEEN 0 AND 100000),
    passed        boolean,
    ended_at      timestamptz,
    person_id     uuid REFERENCES people,
    CONSTRAINT finishing_no_heavier CHECK (finished_cg <= raw_cg)
);

-- An attempt that has ended is in no batch any more, whoever ended it.
CREATE FUNCTION ended_attempt_leaves_batches() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE plate_pieces SET left_at = NEW.ended_at WHERE attempt_id = NEW.id AND left_at IS NULL;
    UPDATE cure_batch_pieces SET left_at = NEW.ended_at WHERE attempt_id = NEW.id AND left_at IS NULL;
    UPDATE flask_pieces SET left_at = NEW.ended_at WHERE attempt_id = NEW.id AND left_at IS NULL;
    RETURN NULL;
END $$;
CREATE TRIGGER ended_attempt_leaves_batches AFTER UPDATE OF ended_at ON attempts
    FOR EACH ROW WHEN (OLD.ended_at IS NULL AND NEW.ended_at IS NOT NULL)
    EXECUTE FUNCTION ended_attempt_leaves_batches();

-- And an end that was taken back puts it back into those that are still open.
CREATE FUNCTION reopened_attempt_returns_to_batches() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE plate_pieces SET left_at = NULL WHERE attempt_id = NEW.id AND left_at = OLD.ended_at
        AND plate_id IN (SELECT id FROM plates WHERE state IN ('open', 'printing'));
    UPDATE cure_batch_pieces SET left_at = NULL WHERE attempt_id = NEW.id AND left_at = OLD.ended_at
        AND cure_batch_id IN (SELECT id FROM cure_batches WHERE state IN ('open', 'washing', 'curing'));
    UPDATE flask_pieces SET left_at = NULL WHERE attempt_id = NEW.id AND left_at = OLD.ended_at
        AND flask_id IN (SELECT id FROM flasks WHERE state NOT IN ('divested', 'cancelled'));
    RETURN NULL;
END $$;
CREATE TRIGGER reopened_attempt_returns_to_batches AFTER UPDATE OF ended_at ON attempts
    FOR EACH ROW WHEN (OLD.ended_at IS NOT NULL AND NEW.ended_at IS NULL)
    EXECUTE FUNCTION reopened_attempt_returns_to_batches();

-- A flask that is given up, lost or divested stands in no kiln.
CREATE FUNCTION ended_flask_leaves_load() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE kiln_load_flasks SET left_at = now() WHERE flask_id = NEW.id AND left_at IS NULL;
    RETURN NULL;
END $$;
CREATE TRIGGER ended_flask_leaves_load AFTER UPDATE OF state ON flasks
    FOR EACH ROW WHEN (NEW.state IN ('cancelled', 'divested'))
    EXECUTE FUNCTION ended_flask_leaves_load();

-- An order follows its pieces: ready when each of them is ready, handed over
-- or cancelled, handed over when none is left with the studio, else agreed.
CREATE FUNCTION order_follows_pieces() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    still_open bigint;
    with_us bigint;
    with_client bigint;
    settled text;
BEGIN
    -- Whoever records a piece of the same order waits here, so that the last one sees them all.
    PERFORM 1 FROM orders WHERE id = NEW.order_id FOR UPDATE;
    SELECT count(*) FILTER (WHERE standing IN ('waiting', 'in_hand')), count(*) FILTER (WHERE standing = 'ready'),
           count(*) FILTER (WHERE standing = 'handed_over')
        INTO still_open, with_us, with_client FROM pieces WHERE order_id = NEW.order_id;
    settled := CASE WHEN still_open > 0 OR with_us + with_client = 0 THEN 'agreed'
                    WHEN with_us > 0 THEN 'ready' ELSE 'handed_over' END;
    UPDATE orders SET state = settled, closed_at = CASE settled WHEN 'handed_over' THEN NEW.changed_at END
        WHERE id = NEW.order_id AND state IN ('agreed', 'ready', 'handed_over') AND state <> settled;
    RETURN NULL;
END $$;
CREATE TRIGGER order_follows_pieces AFTER UPDATE OF standing ON pieces
    FOR EACH ROW WHEN (OLD.standing IS DISTINCT FROM NEW.standing)
    EXECUTE FUNCTION order_follows_pieces();
