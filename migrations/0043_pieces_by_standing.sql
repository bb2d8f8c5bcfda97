-- The attempts of a piece, found without looking through all there ever were.
CREATE INDEX attempts_by_piece ON attempts (piece_id);
