-- Which lots a melt was made of, so that a lot can be followed to every piece it went into and
-- a piece to every lot it came from.

ALTER TABLE metal_lots ADD COLUMN origin text NOT NULL DEFAULT 'bought'
    CONSTRAINT metal_lots_origin CHECK (origin IN ('bought', 'melted', 'refined', 'kept'));
COMMENT ON COLUMN metal_lots.origin IS
    'bought; melted over from other alloys; back from the refiner; kept from a client''s own metal';

-- Fresh metal that left stock with an entry, by lot. What is not told here was of no known lot.
CREATE TABLE metal_batch_lots (
    batch_id uuid NOT NULL REFERENCES metal_batches,
    lot_id   uuid NOT NULL REFERENCES metal_lots,
    cg       bigint NOT NULL CONSTRAINT metal_batch_lots_mass CHECK (cg > 0),
    PRIMARY KEY (batch_id, lot_id)
);
CREATE INDEX metal_batch_lots_by_lot ON metal_batch_lots (lot_id);
CREATE TRIGGER metal_batch_lots_append_only BEFORE UPDATE OR DELETE ON metal_batch_lots
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- The pour whose metal an entry moves.
ALTER TABLE pours ADD COLUMN metal_batch_id uuid REFERENCES metal_batches;
CREATE INDEX pours_by_metal_batch ON pours (metal_batch_id) WHERE metal_batch_id IS NOT NULL;
UPDATE pours p SET metal_batch_id = (
    SELECT b.id FROM metal_batches b JOIN flasks f ON b.subject = 'flask:' || f.number
     WHERE f.id = p.flask_id AND b.kind = 'poured' ORDER BY b.at DESC LIMIT 1);

-- Returns that left stock with an entry, by the pour they were cut off from.
CREATE TABLE metal_batch_returns (
    batch_id uuid NOT NULL REFERENCES metal_batches,
    pour_id  uuid NOT NULL REFERENCES pours,
    cg       bigint NOT NULL CONSTRAINT metal_batch_returns_mass CHECK (cg > 0),
    PRIMARY KEY (batch_id, pour_id)
);
CREATE INDEX metal_batch_returns_by_pour ON metal_batch_returns (pour_id);
CREATE TRIGGER metal_batch_returns_append_only BEFORE UPDATE OR DELETE ON metal_batch_returns
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- A pour named one lot at most until now.
INSERT INTO metal_batch_lots (batch_id, lot_id, cg)
    SELECT metal_batch_id, fresh_lot_id, fresh_cg FROM pours
     WHERE fresh_lot_id IS NOT NULL AND fresh_cg > 0 AND metal_batch_id IS NOT NULL;
ALTER TABLE pours DROP COLUMN fresh_lot_id;

-- What stands in the ledger of a batch: it was not taken back.
CREATE VIEW metal_standing AS
    SELECT b.* FROM metal_batches b
     WHERE NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = b.id);

-- Lots that are in the ledger, with what is left of them.
CREATE VIEW metal_lots_left AS
    SELECT l.id, l.alloy_id, l.lot, l.origin, l.bought_on, l.bought_cg,
           (l.bought_cg - coalesce((SELECT sum(u.cg) FROM metal_batch_lots u JOIN metal_standing s ON s.id = u.batch_id
                                     WHERE u.lot_id = l.id), 0))::bigint AS left_cg
      FROM metal_lots l
     WHERE EXISTS (SELECT 1 FROM metal_standing s WHERE s.lot_id = l.id);

-- Returns by the pour they came from, with what is left of them: sprues and button when a flask
-- was cut off, and its pieces that were scrapped afterwards.
CREATE VIEW metal_returns_left AS
    SELECT came.alloy_id, came.pour_id, sum(came.cg)::bigint AS came_cg,
           (sum(came.cg) - coalesce((SELECT sum(u.cg) FROM metal_batch_returns u JOIN metal_standing s ON s.id = u.batch_id
                                      WHERE u.pour_id = came.pour_id), 0))::bigint AS left_cg
      FROM (
        SELECT a.alloy_id, x.cg,
               coalesce(
                 (SELECT p.id FROM flasks f JOIN pours p ON p.flask_id = f.id
                   WHERE f.number = CASE WHEN b.subject ~ '^flask:[0-9]{1,9}$' THEN substr(b.subject, 7)::integer END),
                 (SELECT p.id FROM pieces i JOIN attempts t ON t.piece_id = i.id JOIN flask_pieces fp ON fp.attempt_id = t.id
                    JOIN pours p ON p.flask_id = fp.flask_id
                   WHERE b.subject LIKE 'piece:%' AND i.label = substr(b.subject, 7) AND p.poured_at <= b.at
                   ORDER BY p.poured_at DESC LIMIT 1)) AS pour_id
          FROM metal_accounts a JOIN metal_postings x ON x.account_id = a.id JOIN metal_standing b ON b.id = x.batch_id
         WHERE a.kind = 'returns' AND b.kind IN ('divested', 'scrapped')) came
     WHERE came.pour_id IS NOT NULL GROUP BY came.alloy_id, came.pour_id;
