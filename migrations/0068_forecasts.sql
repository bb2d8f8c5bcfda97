-- What was forecast of a casting as it was poured, so that it can be laid beside what became of it.
CREATE TABLE forecasts (
    attempt_id        uuid NOT NULL REFERENCES attempts,
    what              text NOT NULL CONSTRAINT forecasts_what CHECK (what IN ('fill', 'feed')),
    verdict           text NOT NULL CONSTRAINT forecasts_verdict CHECK (verdict IN ('yes', 'doubtful', 'no')),
    design_version_id uuid NOT NULL REFERENCES design_versions,
    -- The numbers behind it.
    figures           jsonb NOT NULL DEFAULT '{}',
    at                timestamptz NOT NULL,
    PRIMARY KEY (attempt_id, what)
);
CREATE INDEX forecasts_by_verdict ON forecasts (what, verdict, at DESC);
CREATE INDEX forecasts_by_version ON forecasts (design_version_id, what, at DESC);

-- The chance that a verdict is taken to mean, where it was taken over from what came true.
CREATE TABLE forecast_chances (
    what    text NOT NULL CONSTRAINT forecast_chances_what CHECK (what IN ('fill', 'feed')),
    verdict text NOT NULL CONSTRAINT forecast_chances_verdict CHECK (verdict IN ('yes', 'doubtful', 'no')),
    chance  double precision NOT NULL CONSTRAINT forecast_chances_share CHECK (chance BETWEEN 0 AND 1),
    PRIMARY KEY (what, verdict)
);
ALTER TABLE learned_settings DROP CONSTRAINT learned_settings_known;
ALTER TABLE learned_settings ADD CONSTRAINT learned_settings_known
    CHECK (what IN ('metal_loss', 'lift_s', 'finishing_minutes', 'shrinkage', 'chance'));
