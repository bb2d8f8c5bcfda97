-- Pages of the bench cost what they show, whatever else was ever made.

-- Pieces of the same make, for a spare one that takes another's place.
CREATE INDEX order_lines_by_model ON order_lines (design_version_id, alloy_id);

-- What came through a stage last, for how long it takes.
CREATE INDEX attempt_stages_came_through ON attempt_stages (stage, finished_at) WHERE finished_at IS NOT NULL;

-- Why pieces failed, read from the index alone.
DROP INDEX attempts_failed;
CREATE INDEX attempts_failed ON attempts (ended_at) INCLUDE (failed_at_stage, cause) WHERE outcome = 'failed';

-- What is ready for its client.
CREATE INDEX pieces_ready ON pieces (order_id, n) WHERE standing = 'ready';

-- What was poured last.
CREATE INDEX pours_by_time ON pours (poured_at DESC);

-- Yields are summed from the key alone, and a day that is counted again is found by its day.
ALTER TABLE yield_counts DROP CONSTRAINT yield_counts_pkey,
    ADD PRIMARY KEY (stage, by, on_day, what) INCLUDE (good, bad);
CREATE INDEX yield_counts_by_day ON yield_counts (on_day);

-- What settings learn from: the pieces finished last.
CREATE INDEX finishing_passed_last ON finishing (ended_at DESC) WHERE passed AND minutes IS NOT NULL;
