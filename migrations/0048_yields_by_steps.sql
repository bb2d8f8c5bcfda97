-- A step that is told late, or taken back, counts for every piece of its batch.
CREATE FUNCTION mark_yields_of_step() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    -- None for a piece, whose label is no number.
    of_number integer := CASE WHEN split_part(NEW.subject, ':', 2) ~ '^[0-9]{1,9}$'
                              THEN split_part(NEW.subject, ':', 2)::integer END;
BEGIN
    -- Of these only what is told in words is counted.
    IF NEW.told = '{}'::jsonb THEN
        RETURN NULL;
    END IF;
    INSERT INTO yield_marks (on_day)
        SELECT DISTINCT studio_day(coalesce(g.failed_at, g.finished_at)) FROM attempt_stages g
        WHERE coalesce(g.failed_at, g.finished_at) IS NOT NULL AND g.attempt_id IN (
            SELECT NEW.attempt_id WHERE NEW.attempt_id IS NOT NULL
            UNION ALL SELECT x.attempt_id FROM plate_pieces x JOIN plates b ON b.id = x.plate_id
                WHERE NEW.subject LIKE 'plate:%' AND b.number = of_number
            UNION ALL SELECT x.attempt_id FROM cure_batch_pieces x JOIN cure_batches b ON b.id = x.cure_batch_id
                WHERE NEW.subject LIKE 'cure:%' AND b.number = of_number
            UNION ALL SELECT x.attempt_id FROM flask_pieces x JOIN flasks b ON b.id = x.flask_id
                WHERE NEW.subject LIKE 'flask:%' AND b.number = of_number
            UNION ALL SELECT x.attempt_id FROM flask_pieces x JOIN kiln_load_flasks lf ON lf.flask_id = x.flask_id
                JOIN kiln_loads b ON b.id = lf.kiln_load_id
                WHERE NEW.subject LIKE 'load:%' AND b.number = of_number);
    RETURN NULL;
END $$;
CREATE TRIGGER yields_of_step_marked AFTER INSERT OR UPDATE ON bench_steps
    FOR EACH ROW EXECUTE FUNCTION mark_yields_of_step();
CREATE INDEX cure_batch_pieces_by_attempt ON cure_batch_pieces (attempt_id);

-- Pieces are told apart by more than before: all of it is counted again.
INSERT INTO yield_marks (on_day)
    SELECT studio_day(coalesce(failed_at, finished_at)) FROM attempt_stages WHERE coalesce(failed_at, finished_at) IS NOT NULL
    UNION SELECT studio_day(ended_at) FROM attempts WHERE outcome IN ('good', 'failed');

-- What settings learn from is found among all steps.
CREATE INDEX bench_steps_measured ON bench_steps (stage, step, at) WHERE step IN ('off', 'measured');
