-- Where this studio's castings say that the limit of a verdict lies, where it was taken over: in the
-- measure of `src/forecasts/margin.rs`.
CREATE TABLE forecast_limits (
    what     text NOT NULL CONSTRAINT forecast_limits_what CHECK (what IN ('fill', 'feed')),
    verdict  text NOT NULL CONSTRAINT forecast_limits_verdict CHECK (verdict IN ('yes', 'no')),
    limit_at double precision NOT NULL CONSTRAINT forecast_limits_range CHECK (limit_at BETWEEN -100 AND 100),
    PRIMARY KEY (what, verdict)
);
-- The verdict by those limits, as it was said beside that of the calculation alone.
ALTER TABLE forecasts ADD COLUMN own text CONSTRAINT forecasts_own CHECK (own IN ('yes', 'doubtful', 'no'));
CREATE INDEX forecasts_by_own ON forecasts (what, own, at DESC) WHERE own IS NOT NULL;
CREATE INDEX forecasts_latest ON forecasts (what, at DESC);
ALTER TABLE learned_settings DROP CONSTRAINT learned_settings_known;
ALTER TABLE learned_settings ADD CONSTRAINT learned_settings_known
    CHECK (what IN ('metal_loss', 'lift_s', 'finishing_minutes', 'shrinkage', 'chance', 'limit'));
