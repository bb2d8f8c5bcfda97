-- Who is there when: hours of single people, and the days on which they are away or ill. The
-- studio is staffed while somebody is there who may load a kiln and pour.
ALTER TABLE people
    ADD COLUMN pours boolean NOT NULL DEFAULT true,
    ADD COLUMN hours_version bigint NOT NULL DEFAULT 1;
COMMENT ON COLUMN people.pours IS 'may load kilns and pour';

-- Somebody without a row here keeps the studio's hours.
CREATE TABLE person_hours (
    person_id uuid NOT NULL REFERENCES people,
    weekday   smallint NOT NULL CONSTRAINT person_hours_weekday CHECK (weekday BETWEEN 1 AND 7),
    from_min  smallint NOT NULL,
    to_min    smallint NOT NULL,
    PRIMARY KEY (person_id, weekday, from_min),
    CONSTRAINT person_hours_forward CHECK (from_min >= 0 AND from_min < to_min AND to_min <= 1440)
);

CREATE TABLE absences (
    id        uuid PRIMARY KEY,
    person_id uuid NOT NULL REFERENCES people,
    kind      text NOT NULL CONSTRAINT absences_kind_known CHECK (kind IN ('ill', 'away')),
    from_on   date NOT NULL,
    -- The last day of it.
    to_on     date NOT NULL,
    noted_by  uuid REFERENCES people,
    noted_at  timestamptz NOT NULL,
    CONSTRAINT absences_forward CHECK (from_on <= to_on)
);
CREATE INDEX absences_by_day ON absences (to_on);

CREATE TRIGGER people_announced AFTER INSERT OR UPDATE ON people
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');
CREATE TRIGGER person_hours_announced AFTER INSERT OR UPDATE OR DELETE ON person_hours
    FOR EACH ROW EXECUTE FUNCTION announce_change('person_id');
CREATE TRIGGER absences_announced AFTER INSERT OR UPDATE OR DELETE ON absences
    FOR EACH ROW EXECUTE FUNCTION announce_change('person_id');
