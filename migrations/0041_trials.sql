-- Two ways of working, compared on purpose: which pieces go which way is drawn beforehand,
-- and how many are needed is settled before the first.
CREATE SEQUENCE trial_numbers START 1;

CREATE TABLE trials (
    id            uuid PRIMARY KEY,
    number        integer NOT NULL DEFAULT nextval('trial_numbers') CONSTRAINT trials_number_unique UNIQUE,
    question      text NOT NULL CONSTRAINT trials_question_given CHECK (length(btrim(question)) BETWEEN 1 AND 300),
    setting       text NOT NULL CONSTRAINT trials_setting_known CHECK (setting IN ('supports', 'medium', 'other')),
    first_arm     text NOT NULL CONSTRAINT trials_first_given CHECK (length(btrim(first_arm)) BETWEEN 1 AND 120),
    second_arm    text NOT NULL CONSTRAINT trials_second_given CHECK (length(btrim(second_arm)) BETWEEN 1 AND 120),
    -- A piece has come out well when it is through this stage.
    stage         stage NOT NULL,
    -- The yields that are to be told apart, and how surely.
    first_yield   double precision NOT NULL CONSTRAINT trials_first_yield CHECK (first_yield BETWEEN 0 AND 1),
    second_yield  double precision NOT NULL CONSTRAINT trials_second_yield CHECK (second_yield BETWEEN 0 AND 1),
    power         double precision NOT NULL CONSTRAINT trials_power CHECK (power > 0 AND power < 1),
    each_arm      integer NOT NULL CONSTRAINT trials_each CHECK (each_arm BETWEEN 1 AND 200),
    seed          bigint NOT NULL,
    made_by       uuid REFERENCES people,
    made_at       timestamptz NOT NULL,
    ended_at      timestamptz,
    version       bigint NOT NULL DEFAULT 1,
    CONSTRAINT trials_arms_differ CHECK (first_arm <> second_arm)
);
CREATE TRIGGER trials_announced AFTER INSERT OR UPDATE ON trials
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

-- The draw: a row is never changed, so nobody moves a piece to the side that suits.
CREATE TABLE trial_pieces (
    trial_id   uuid NOT NULL REFERENCES trials,
    attempt_id uuid NOT NULL REFERENCES attempts CONSTRAINT trial_pieces_one_trial UNIQUE,
    n          integer NOT NULL,
    arm        smallint NOT NULL CONSTRAINT trial_pieces_arm CHECK (arm IN (1, 2)),
    drawn_at   timestamptz NOT NULL,
    PRIMARY KEY (trial_id, n)
);
CREATE TRIGGER trial_pieces_append_only BEFORE UPDATE OR DELETE ON trial_pieces
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- What is chosen unless somebody chooses otherwise, with the trial that says so.
CREATE TABLE setting_defaults (
    setting  text PRIMARY KEY CONSTRAINT setting_defaults_known CHECK (setting IN ('supports', 'medium')),
    value    text NOT NULL,
    trial_id uuid NOT NULL REFERENCES trials,
    set_by   uuid REFERENCES people,
    set_at   timestamptz NOT NULL
);
