-- A flask that was lost by mistake comes back as it was: from which state, when, and from which load.
ALTER TABLE flasks
    ADD COLUMN lost_at timestamptz,
    ADD COLUMN lost_from text CONSTRAINT flasks_lost_from CHECK (lost_from IN ('mixing', 'setting', 'in_kiln', 'hot')),
    ADD COLUMN lost_load_id uuid REFERENCES kiln_loads,
    ADD CONSTRAINT flasks_lost_whole CHECK ((lost_at IS NULL) = (lost_from IS NULL) AND (lost_at IS NULL OR state = 'cancelled'));

-- Those that were lost before it was kept: by what happened to their pieces.
UPDATE flasks f SET lost_at = e.at, lost_from = CASE e.stage WHEN 'invest' THEN 'mixing' WHEN 'cast' THEN 'hot' ELSE 'setting' END
  FROM (SELECT DISTINCT ON (batch) batch, at, stage::text AS stage FROM piece_events
         WHERE kind = 'failed' AND batch LIKE 'flask:%' AND stage::text IN ('invest', 'burnout', 'cast')
         ORDER BY batch, at DESC) e
 WHERE f.state = 'cancelled' AND e.batch = 'flask:' || f.number;
