-- A piece goes back to a stage, a spare one takes its place, it goes to another order.
ALTER TABLE piece_events DROP CONSTRAINT piece_events_kind_known;
ALTER TABLE piece_events ADD CONSTRAINT piece_events_kind_known
    CHECK (kind IN ('queued', 'entered', 'left', 'finished', 'failed', 'handed_over', 'cancelled', 'noted', 'undone',
                    'sent_back', 'swapped', 'moved'));
-- What the plan has to be told, found by its time.
CREATE INDEX piece_events_news ON piece_events (at) WHERE kind IN ('failed', 'sent_back', 'swapped', 'cancelled');
