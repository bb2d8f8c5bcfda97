-- Logs of kilns' controllers, kept as the files that came, each with how it is to be read;
-- what a kiln's logs look like; and power and loss of a kiln as its own firings show them.

CREATE TABLE kiln_logs (
    id           uuid PRIMARY KEY,
    kiln_load_id uuid NOT NULL REFERENCES kiln_loads,
    file_id      uuid NOT NULL REFERENCES files,
    file_name    text NOT NULL,
    -- Delimiter, columns, scale, form of the times, and where the programme begins.
    form         jsonb NOT NULL,
    added_at     timestamptz NOT NULL,
    added_by     uuid REFERENCES people,
    -- When another file took its place; the file is kept.
    replaced_at  timestamptz
);
CREATE UNIQUE INDEX kiln_logs_one_current ON kiln_logs (kiln_load_id) WHERE replaced_at IS NULL;
CREATE INDEX kiln_logs_by_load ON kiln_logs (kiln_load_id, added_at);

-- How the logs of a kiln's controller are read: chosen once, used for the next file.
CREATE TABLE kiln_log_forms (
    kiln_id uuid PRIMARY KEY REFERENCES kilns,
    form    jsonb NOT NULL,
    set_at  timestamptz NOT NULL
);

CREATE TABLE kiln_fits (
    id             uuid PRIMARY KEY,
    kiln_id        uuid NOT NULL REFERENCES kilns,
    kiln_log_id    uuid NOT NULL REFERENCES kiln_logs,
    power_w        double precision NOT NULL CONSTRAINT kiln_fits_power CHECK (power_w > 0),
    loss_w_k       double precision NOT NULL CONSTRAINT kiln_fits_loss CHECK (loss_w_k > 0),
    error_before_k double precision NOT NULL CONSTRAINT kiln_fits_before CHECK (error_before_k >= 0),
    error_after_k  double precision NOT NULL CONSTRAINT kiln_fits_after CHECK (error_after_k >= 0),
    -- What the kiln's entry said then: once it says otherwise, the fit is out of use.
    top_c            double precision NOT NULL,
    power_kw         double precision NOT NULL,
    cool_min_per_100c integer NOT NULL,
    taken_at       timestamptz NOT NULL,
    taken_by       uuid REFERENCES people,
    dropped_at     timestamptz
);
CREATE INDEX kiln_fits_by_kiln ON kiln_fits (kiln_id, taken_at);
CREATE TRIGGER kiln_logs_announced AFTER INSERT OR UPDATE ON kiln_logs
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');
