-- Yields are read from counts by day, so that a page of them costs the days and groups there
-- are, not the pieces. A change at a stage marks the days of that attempt; whoever reads
-- yields next counts the marked days again.
CREATE TABLE yield_counts (
    on_day date NOT NULL,
    -- Empty: the whole way.
    stage  text NOT NULL,
    -- By what pieces are told apart; empty: not at all.
    by     text NOT NULL,
    -- Which group, by its id where it has one.
    what   text NOT NULL,
    good   integer NOT NULL,
    bad    integer NOT NULL,
    PRIMARY KEY (stage, by, on_day, what)
);

-- Added to and emptied; without a key, so that two who record at once never wait here.
CREATE TABLE yield_marks (on_day date NOT NULL);

CREATE INDEX attempt_stages_settled ON attempt_stages (coalesce(failed_at, finished_at));
CREATE INDEX attempts_ended ON attempts (ended_at) WHERE outcome IN ('good', 'failed');
CREATE INDEX attempts_failed ON attempts (ended_at) WHERE outcome = 'failed';

-- The day on which something fell in the studio.
CREATE FUNCTION studio_day(at timestamptz) RETURNS date LANGUAGE sql STABLE AS $$
    SELECT (at AT TIME ZONE coalesce((SELECT time_zone FROM studio), 'UTC'))::date
$$;

-- What is recorded late, such as the kiln, counts for every stage before it too.
CREATE FUNCTION mark_yields_of_stage() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    changed uuid := CASE WHEN TG_OP = 'DELETE' THEN OLD.attempt_id ELSE NEW.attempt_id END;
BEGIN
    INSERT INTO yield_marks (on_day)
        SELECT DISTINCT studio_day(coalesce(failed_at, finished_at)) FROM attempt_stages
        WHERE attempt_id = changed AND coalesce(failed_at, finished_at) IS NOT NULL;
    IF TG_OP <> 'INSERT' AND coalesce(OLD.failed_at, OLD.finished_at) IS NOT NULL THEN
        INSERT INTO yield_marks (on_day) VALUES (studio_day(coalesce(OLD.failed_at, OLD.finished_at)));
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER yields_of_stage_marked AFTER INSERT OR UPDATE OR DELETE ON attempt_stages
    FOR EACH ROW EXECUTE FUNCTION mark_yields_of_stage();

CREATE FUNCTION mark_yields_of_attempt() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO yield_marks (on_day)
        SELECT studio_day(at) FROM (VALUES (OLD.ended_at), (NEW.ended_at)) ends (at) WHERE at IS NOT NULL;
    RETURN NULL;
END $$;
CREATE TRIGGER yields_of_attempt_marked AFTER UPDATE OF ended_at, outcome ON attempts
    FOR EACH ROW EXECUTE FUNCTION mark_yields_of_attempt();

-- Days begin elsewhere in another zone.
CREATE FUNCTION mark_all_yields() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM yield_counts;
    INSERT INTO yield_marks (on_day)
        SELECT studio_day(coalesce(failed_at, finished_at)) FROM attempt_stages WHERE coalesce(failed_at, finished_at) IS NOT NULL
        UNION SELECT studio_day(ended_at) FROM attempts WHERE outcome IN ('good', 'failed');
    RETURN NULL;
END $$;
CREATE TRIGGER yields_all_marked AFTER UPDATE OF time_zone ON studio
    FOR EACH ROW WHEN (OLD.time_zone IS DISTINCT FROM NEW.time_zone) EXECUTE FUNCTION mark_all_yields();

-- What was recorded before there were counts.
INSERT INTO yield_marks (on_day)
    SELECT studio_day(coalesce(failed_at, finished_at)) FROM attempt_stages WHERE coalesce(failed_at, finished_at) IS NOT NULL
    UNION SELECT studio_day(ended_at) FROM attempts WHERE outcome IN ('good', 'failed');
