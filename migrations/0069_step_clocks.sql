-- Clocks that count how long a step is worked on: started and stopped at the step, as often as
-- it takes. What they counted becomes the minutes of the step when it is recorded.
CREATE TABLE step_clocks (
    id         uuid PRIMARY KEY,
    stage      stage NOT NULL,
    -- As with the steps themselves.
    subject    text NOT NULL,
    attempt_id uuid REFERENCES attempts,
    step       text NOT NULL,
    started_at timestamptz NOT NULL,
    stopped_at timestamptz,
    started_by uuid REFERENCES people,
    -- The step whose minutes it became.
    used_by    uuid REFERENCES bench_steps,
    CONSTRAINT step_clocks_forward CHECK (stopped_at >= started_at)
);
CREATE UNIQUE INDEX step_clocks_one_runs ON step_clocks
    (subject, stage, step, coalesce(attempt_id, '00000000-0000-0000-0000-000000000000')) WHERE stopped_at IS NULL;
CREATE INDEX step_clocks_not_used ON step_clocks (subject, stage) WHERE used_by IS NULL;

-- Pages that show a sheet listen for its steps.
CREATE FUNCTION announce_step_clock() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('changed', 'bench_steps:' || NEW.subject);
    RETURN NULL;
END $$;
CREATE TRIGGER step_clocks_announced AFTER INSERT OR UPDATE ON step_clocks
    FOR EACH ROW EXECUTE FUNCTION announce_step_clock();

-- A step that is taken back gives its minutes back to the clocks that counted them.
CREATE FUNCTION step_gives_clocks_back() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE step_clocks SET used_by = NULL WHERE used_by = NEW.id;
    RETURN NULL;
END $$;
CREATE TRIGGER step_gives_clocks_back AFTER UPDATE OF taken_back_at ON bench_steps
    FOR EACH ROW WHEN (OLD.taken_back_at IS NULL AND NEW.taken_back_at IS NOT NULL)
    EXECUTE FUNCTION step_gives_clocks_back();
