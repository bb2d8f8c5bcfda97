-- What is done at the bench within a stage, step by step, with what was measured. A step
-- recorded by mistake is taken back, not deleted.
CREATE TABLE bench_steps (
    id            uuid PRIMARY KEY,
    stage         stage NOT NULL,
    -- The batch or piece, as everywhere: "plate:41", "cure:31", "flask:201", "load:81", "piece:1042-3".
    subject       text NOT NULL,
    -- For steps of one piece: the attempt at it.
    attempt_id    uuid REFERENCES attempts,
    step          text NOT NULL,
    -- Whether it may be recorded more than once, as a check on the way.
    again         boolean NOT NULL,
    -- What was told, by field; figures as numbers in the field's unit.
    told          jsonb NOT NULL DEFAULT '{}' CONSTRAINT bench_steps_told CHECK (jsonb_typeof(told) = 'object'),
    at            timestamptz NOT NULL,
    person_id     uuid REFERENCES people,
    taken_back_at timestamptz,
    taken_back_by uuid REFERENCES people
);
CREATE INDEX bench_steps_by_subject ON bench_steps (subject, stage);
CREATE INDEX bench_steps_by_attempt ON bench_steps (attempt_id) WHERE attempt_id IS NOT NULL;
CREATE UNIQUE INDEX bench_steps_once ON bench_steps
    (subject, stage, step, coalesce(attempt_id, '00000000-0000-0000-0000-000000000000'))
    WHERE NOT again AND taken_back_at IS NULL;
CREATE TRIGGER bench_steps_announced AFTER INSERT OR UPDATE ON bench_steps
    FOR EACH ROW EXECUTE FUNCTION announce_change('subject');
