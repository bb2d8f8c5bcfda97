-- Jobs as they are worked on. A worker says again and again that it is alive; the database's own
-- clock judges that, for it is the one clock that all copies of the program share.
ALTER TABLE jobs
    ADD COLUMN rank            smallint NOT NULL DEFAULT 0,
    ADD COLUMN doing           text NOT NULL DEFAULT '',
    ADD COLUMN alive_at        timestamptz,
    ADD COLUMN cancel_asked_at timestamptz,
    ADD CONSTRAINT jobs_progress_share CHECK (progress BETWEEN 0 AND 1),
    ADD CONSTRAINT jobs_running_claimed CHECK (state <> 'running' OR (claimed_by IS NOT NULL AND alive_at IS NOT NULL)),
    ADD CONSTRAINT jobs_done_has_result CHECK (state <> 'done' OR result IS NOT NULL);

DROP INDEX jobs_waiting;
CREATE INDEX jobs_waiting ON jobs (rank, created_at) WHERE state IN ('waiting', 'running');

-- A sign of life alone is no news to anybody.
DROP TRIGGER jobs_announced ON jobs;
CREATE TRIGGER jobs_added AFTER INSERT ON jobs
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');
CREATE TRIGGER jobs_changed AFTER UPDATE ON jobs FOR EACH ROW
    WHEN ((OLD.state, OLD.progress, OLD.doing) IS DISTINCT FROM (NEW.state, NEW.progress, NEW.doing))
    EXECUTE FUNCTION announce_change('id');

-- How a version of a design is to be cast: what its analysis is asked for.
CREATE TABLE design_castings (
    design_version_id uuid PRIMARY KEY REFERENCES design_versions,
    casting           jsonb NOT NULL,
    version           bigint NOT NULL DEFAULT 1,
    changed_at        timestamptz NOT NULL,
    changed_by        uuid REFERENCES people
);
