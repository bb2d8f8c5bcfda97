-- Who works here, and what the studio is. Every table names its constraints:
-- the program turns a constraint's name into the sentence a person reads.

CREATE DOMAIN stage AS text
    CONSTRAINT stage_known CHECK (VALUE IN ('print', 'cure', 'invest', 'burnout', 'cast', 'finish'));

-- Tells listening pages that something changed; the payload is "table:id".
CREATE FUNCTION announce_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    row_id text;
BEGIN
    row_id := CASE WHEN TG_OP = 'DELETE' THEN to_jsonb(OLD) ->> TG_ARGV[0]
                   ELSE to_jsonb(NEW) ->> TG_ARGV[0] END;
    PERFORM pg_notify('changed', TG_TABLE_NAME || ':' || coalesce(row_id, ''));
    RETURN NULL;
END $$;

-- For tables whose rows are facts: they are added, never edited.
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = TG_TABLE_NAME || '_append_only';
END $$;

CREATE TABLE people (
    id            uuid PRIMARY KEY,
    name          text NOT NULL CONSTRAINT people_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 200),
    login         text NOT NULL CONSTRAINT people_login_unique UNIQUE
                  CONSTRAINT people_login_plain CHECK (login = lower(btrim(login)) AND length(login) BETWEEN 2 AND 80),
    role          text NOT NULL CONSTRAINT people_role_known CHECK (role IN ('owner', 'maker')),
    password_hash text NOT NULL,
    left_at       timestamptz,
    created_at    timestamptz NOT NULL
);

CREATE TABLE sessions (
    token_hash bytea PRIMARY KEY,
    person_id  uuid NOT NULL REFERENCES people,
    created_at timestamptz NOT NULL,
    seen_at    timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    agent      text NOT NULL DEFAULT ''
);
CREATE INDEX sessions_by_person ON sessions (person_id);

-- Counted in the database so that the limit holds across copies of the program.
CREATE TABLE sign_in_attempts (
    id      bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    login   text NOT NULL,
    address text NOT NULL,
    at      timestamptz NOT NULL,
    good    boolean NOT NULL
);
CREATE INDEX sign_in_attempts_recent ON sign_in_attempts (login, at);
CREATE INDEX sign_in_attempts_by_address ON sign_in_attempts (address, at);

CREATE TABLE secrets (
    name  text PRIMARY KEY,
    value bytea NOT NULL
);

CREATE TABLE audit (
    id        bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at        timestamptz NOT NULL,
    person_id uuid REFERENCES people,
    action    text NOT NULL,
    subject   text NOT NULL,
    detail    jsonb NOT NULL DEFAULT '{}'
);
CREATE INDEX audit_by_subject ON audit (subject, id);
CREATE TRIGGER audit_append_only BEFORE UPDATE OR DELETE ON audit
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- One outcome for a form that arrives twice: the key comes with the form, the
-- place it led to is kept in the transaction that did the work.
CREATE TABLE once (
    key      uuid PRIMARY KEY,
    at       timestamptz NOT NULL,
    location text NOT NULL
);
CREATE INDEX once_by_age ON once (at);

CREATE TABLE studio (
    id                   boolean PRIMARY KEY DEFAULT true CONSTRAINT studio_single CHECK (id),
    name                 text NOT NULL,
    time_zone            text NOT NULL,
    currency             char(3) NOT NULL,
    temperature_unit     text NOT NULL DEFAULT 'C' CONSTRAINT studio_temperature_unit CHECK (temperature_unit IN ('C', 'F')),
    length_unit          text NOT NULL DEFAULT 'mm' CONSTRAINT studio_length_unit CHECK (length_unit IN ('mm', 'inch')),
    mass_unit            text NOT NULL DEFAULT 'g' CONSTRAINT studio_mass_unit CHECK (mass_unit IN ('g', 'dwt', 'ozt')),
    -- Money, all per hour or as a share of 1.
    bench_rate           numeric(12, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_bench_rate CHECK (bench_rate >= 0),
    finishing_rate       numeric(12, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_finishing_rate CHECK (finishing_rate >= 0),
    set_up_minutes       integer NOT NULL DEFAULT 0 CONSTRAINT studio_set_up CHECK (set_up_minutes >= 0),
    bench_minutes        integer NOT NULL DEFAULT 0 CONSTRAINT studio_bench_minutes CHECK (bench_minutes >= 0),
    overhead             numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_overhead CHECK (overhead >= 0),
    margin               numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_margin CHECK (margin >= 0 AND margin < 1),
    tax_name             text NOT NULL DEFAULT 'Tax',
    tax_rate             numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_tax CHECK (tax_rate >= 0 AND tax_rate < 10),
    tax_inclusive        boolean NOT NULL DEFAULT false,
    deposit              numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_deposit CHECK (deposit BETWEEN 0 AND 1),
    quote_valid_days     integer NOT NULL DEFAULT 14 CONSTRAINT studio_quote_days CHECK (quote_valid_days BETWEEN 1 AND 365),
    metal_loss           numeric(6, 4) NOT NULL DEFAULT 0 CONSTRAINT studio_loss CHECK (metal_loss >= 0 AND metal_loss < 1),
    button_share         numeric(6, 4) NOT NULL DEFAULT 0.12 CONSTRAINT studio_button CHECK (button_share >= 0 AND button_share < 2),
    least_fresh          numeric(6, 4) NOT NULL DEFAULT 0.5 CONSTRAINT studio_fresh CHECK (least_fresh BETWEEN 0 AND 1),
    -- The one furnace and what surrounds a pour.
    load_min             integer NOT NULL DEFAULT 15 CONSTRAINT studio_load_min CHECK (load_min BETWEEN 1 AND 600),
    pour_min             integer NOT NULL DEFAULT 12 CONSTRAINT studio_pour_min CHECK (pour_min BETWEEN 1 AND 600),
    alloy_change_min     integer NOT NULL DEFAULT 25 CONSTRAINT studio_change_min CHECK (alloy_change_min BETWEEN 0 AND 600),
    max_hold_min         integer NOT NULL DEFAULT 240 CONSTRAINT studio_hold CHECK (max_hold_min BETWEEN 0 AND 10080),
    max_pour_span_min    integer NOT NULL DEFAULT 480 CONSTRAINT studio_span CHECK (max_pour_span_min BETWEEN 0 AND 10080),
    ramp_limit           integer NOT NULL DEFAULT 1 CONSTRAINT studio_ramp_limit CHECK (ramp_limit BETWEEN 1 AND 100),
    flask_clearance_mm   integer NOT NULL DEFAULT 10 CONSTRAINT studio_flask_clearance CHECK (flask_clearance_mm >= 0),
    wall_clearance_mm    integer NOT NULL DEFAULT 15 CONSTRAINT studio_wall_clearance CHECK (wall_clearance_mm >= 0),
    top_clearance_mm     integer NOT NULL DEFAULT 20 CONSTRAINT studio_top_clearance CHECK (top_clearance_mm >= 0),
    furnace_name         text NOT NULL DEFAULT 'Melting furnace',
    furnace_crucible_g   integer NOT NULL DEFAULT 0,
    version              bigint NOT NULL DEFAULT 1
);

-- When staff are there; several rows make a day with a break.
CREATE TABLE working_hours (
    weekday  smallint NOT NULL CONSTRAINT working_hours_weekday CHECK (weekday BETWEEN 1 AND 7),
    from_min smallint NOT NULL,
    to_min   smallint NOT NULL,
    PRIMARY KEY (weekday, from_min),
    CONSTRAINT working_hours_forward CHECK (from_min >= 0 AND from_min < to_min AND to_min <= 1440)
);

CREATE TABLE closed_days (
    on_day date PRIMARY KEY,
    reason text NOT NULL DEFAULT ''
);

-- Counting clocks that belong to things: a cure, a mix, a bench set, a soak.
CREATE TABLE timers (
    id         uuid PRIMARY KEY,
    subject    text NOT NULL,
    name       text NOT NULL,
    started_at timestamptz NOT NULL,
    due_at     timestamptz NOT NULL,
    ended_at   timestamptz,
    CONSTRAINT timers_forward CHECK (due_at >= started_at)
);
CREATE INDEX timers_running ON timers (due_at) WHERE ended_at IS NULL;
CREATE INDEX timers_by_subject ON timers (subject);
CREATE TRIGGER timers_announced AFTER INSERT OR UPDATE ON timers
    FOR EACH ROW EXECUTE FUNCTION announce_change('subject');

CREATE TABLE files (
    id         uuid PRIMARY KEY,
    sha256     bytea NOT NULL CONSTRAINT files_sha256_unique UNIQUE,
    name       text NOT NULL,
    media_type text NOT NULL,
    size_bytes bigint NOT NULL CONSTRAINT files_size CHECK (size_bytes >= 0),
    created_at timestamptz NOT NULL
);

CREATE TABLE file_chunks (
    file_id uuid NOT NULL REFERENCES files ON DELETE CASCADE,
    n       integer NOT NULL,
    bytes   bytea NOT NULL,
    PRIMARY KEY (file_id, n)
);

CREATE TABLE jobs (
    id          uuid PRIMARY KEY,
    kind        text NOT NULL,
    key         text NOT NULL,
    input       jsonb NOT NULL,
    state       text NOT NULL DEFAULT 'waiting'
                CONSTRAINT jobs_state_known CHECK (state IN ('waiting', 'running', 'done', 'failed', 'cancelled')),
    progress    real NOT NULL DEFAULT 0,
    attempts    integer NOT NULL DEFAULT 0,
    claimed_by  text,
    claimed_at  timestamptz,
    result      jsonb,
    error       text,
    created_at  timestamptz NOT NULL,
    finished_at timestamptz,
    CONSTRAINT jobs_once_per_content UNIQUE (kind, key)
);
CREATE INDEX jobs_waiting ON jobs (created_at) WHERE state IN ('waiting', 'running');
CREATE TRIGGER jobs_announced AFTER INSERT OR UPDATE ON jobs
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');
