-- How much longer than its programme a load was planned to take, because its kiln cannot follow it.
ALTER TABLE kiln_loads ADD COLUMN planned_longer_min integer NOT NULL DEFAULT 0
    CONSTRAINT kiln_loads_planned_longer CHECK (planned_longer_min >= 0);
-- A fit that is taken over or given up changes what agreed loads take.
CREATE TRIGGER kiln_fits_announced AFTER INSERT OR UPDATE ON kiln_fits
    FOR EACH ROW EXECUTE FUNCTION announce_change('id');
