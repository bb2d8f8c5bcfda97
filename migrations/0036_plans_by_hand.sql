-- Plans that are stopped at will, changed by hand and taken back, or made because something
-- has changed in the studio.
ALTER TABLE plans
    ADD COLUMN seconds double precision NOT NULL DEFAULT 4 CONSTRAINT plans_seconds CHECK (seconds > 0 AND seconds <= 600),
    ADD COLUMN stop_asked boolean NOT NULL DEFAULT false,
    -- The plan that this one was made from by one change; null: from the loads as they stand.
    ADD COLUMN parent integer REFERENCES plans (number),
    -- The change, in words; empty for a plan made anew.
    ADD COLUMN change text NOT NULL DEFAULT '',
    -- What had changed when the program made it by itself.
    ADD COLUMN reasons jsonb NOT NULL DEFAULT '[]',
    DROP CONSTRAINT plans_state_known,
    ADD CONSTRAINT plans_state_known CHECK (state IN ('computing', 'proposed', 'accepted', 'replaced', 'failed', 'undone'));
COMMENT ON COLUMN plans.state IS 'undone: a change by hand that was taken back and can be made again';

-- What a plan rests on is announced like everything else.
CREATE TRIGGER kiln_outages_announced AFTER INSERT OR UPDATE OR DELETE ON kiln_outages
    FOR EACH ROW EXECUTE FUNCTION announce_change('kiln_id');
CREATE TRIGGER closed_days_announced AFTER INSERT OR UPDATE OR DELETE ON closed_days
    FOR EACH ROW EXECUTE FUNCTION announce_change('on_day');
CREATE TRIGGER working_hours_announced AFTER INSERT OR UPDATE OR DELETE ON working_hours
    FOR EACH ROW EXECUTE FUNCTION announce_change('weekday');

-- A private address that calendars read. The token in it is an HMAC of this id.
CREATE TABLE calendar_feeds (
    id         uuid PRIMARY KEY,
    made_by    uuid NOT NULL REFERENCES people,
    made_at    timestamptz NOT NULL,
    revoked_at timestamptz,
    read_at    timestamptz
);
CREATE UNIQUE INDEX calendar_feeds_one_each ON calendar_feeds (made_by) WHERE revoked_at IS NULL;
