-- Long lists are turned by the key of the row at the edge; the index of each is its order.
DROP INDEX pieces_by_change;
CREATE INDEX pieces_by_change ON pieces (changed_at, id);
-- Few among many: found without looking through all that was ever made.
CREATE INDEX pieces_cancelled ON pieces (changed_at, id) WHERE standing = 'cancelled';
DROP INDEX pours_by_time;
CREATE INDEX pours_by_time ON pours (poured_at, id);
CREATE INDEX orders_in_order ON orders (
    ((state IN ('handed_over', 'cancelled'))::integer),
    (CASE WHEN closed_at IS NULL THEN coalesce(due_on - date '2000-01-01', 1000000) ELSE 1000000 END),
    ((-number)));
DROP INDEX outbox_by_time;
CREATE INDEX outbox_in_order ON outbox (array_position(ARRAY['sent', 'waiting', 'draft', 'given_up'], state), created_at, id)
    WHERE state <> 'thrown_away';
DROP INDEX metal_batches_by_time;
CREATE INDEX metal_batches_by_time ON metal_batches (at, id);
