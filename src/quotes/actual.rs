//! What was recorded while an order was made, line by line. Batches are shared by the pieces
//! that were in them.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use sqlx::{FromRow, PgPool};

use crate::id::OrderId;

/// What was recorded of a line.
#[derive(Clone, Debug, Default, FromRow)]
pub(super) struct Taken {
    pub(super) n: i32,
    /// Pieces that are ready or handed over.
    pub(super) done: i64,
    /// Pieces not finished yet.
    pub(super) open: i64,
    /// Attempts begun and not taken back.
    pub(super) attempts: i64,
    /// Of finished pieces: minutes at the bench.
    pub(super) minutes: i64,
    /// Finished pieces with their minutes noted.
    pub(super) timed: i64,
    /// Mass of finished pieces in centigrams.
    pub(super) finished_cg: i64,
    /// Finished pieces that were weighed.
    pub(super) weighed: i64,
    /// Filed off them.
    pub(super) filed_cg: i64,
    /// Their share of what their flasks lost, by pieces.
    pub(super) lost_cg: i64,
    /// What a gram of the metal in its flasks was bought for, in the studio's currency, by their
    /// lots; nothing where no lot has a price.
    pub(super) bought_at: Option<Decimal>,
    /// What else was measured, by what it is.
    #[sqlx(skip)]
    pub(super) shares: BTreeMap<Share, Shared>,
}

/// Something that is measured by the batch and shared by its pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Share {
    /// Resin in millilitres.
    Resin,
    /// Hours of the printer.
    Printer,
    /// Powder in kilograms.
    Powder,
    /// Energy of a kiln in kilowatt hours.
    Energy,
    /// Gas of a kiln in kilograms.
    Gas,
    /// Hours of a kiln.
    KilnHours,
    /// Minutes worked at the bench before and at casting.
    Bench,
}

impl Share {
    fn named(word: &str) -> Option<Self> {
        Some(match word {
            "resin" => Self::Resin,
            "printer" => Self::Printer,
            "powder" => Self::Powder,
            "energy" => Self::Energy,
            "gas" => Self::Gas,
            "kiln" => Self::KilnHours,
            "bench" => Self::Bench,
            _ => return None,
        })
    }
}

/// A line's share of something, and what its batches came to in the mean.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Shared {
    /// The line's share, in the unit of the thing.
    pub(super) amount: f64,
    /// Of a whole batch, in the mean.
    pub(super) of_batch: f64,
    /// How many pieces (or flasks) shared a batch, in the mean.
    pub(super) in_batch: f64,
    /// Attempts of the line of which there is a figure; at the bench, steps with their minutes.
    pub(super) known: i64,
    /// Attempts that came so far, with a figure or without; at the bench, steps that were done.
    pub(super) all: i64,
    /// Whether it was weighed, read or told; else the program worked it out, and nothing can be
    /// learned from that.
    pub(super) measured: bool,
}

/// What was recorded of each line of an order.
pub(super) async fn taken(pool: &PgPool, order: OrderId) -> Result<Vec<Taken>, sqlx::Error> {
    let mut lines: Vec<Taken> = sqlx::query_as(
        "WITH tries AS (
           SELECT l.n, t.id, p.id AS piece FROM order_lines l JOIN pieces p ON p.order_line_id = l.id
           JOIN attempts t ON t.piece_id = p.id AND t.outcome IS DISTINCT FROM 'cancelled'
           WHERE l.order_id = $1),
         losses AS (
           SELECT f.id AS flask, (SELECT sum(x.cg) FROM metal_batches m JOIN metal_postings x ON x.batch_id = m.id
                    JOIN metal_accounts a ON a.id = x.account_id
                   WHERE m.subject = 'flask:' || f.number AND m.kind = 'divested' AND a.kind = 'loss'
                     AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = m.id)) AS lost,
                  (SELECT count(*) FROM flask_pieces o JOIN pours u ON u.flask_id = o.flask_id
                    WHERE o.flask_id = f.id AND (o.left_at IS NULL OR o.left_at >= u.poured_at)) AS pieces
             FROM flasks f WHERE f.id IN (SELECT flask_id FROM flask_pieces WHERE attempt_id IN (SELECT id FROM tries)))
         SELECT l.n,
           (SELECT count(*) FROM pieces p WHERE p.order_line_id = l.id AND p.standing IN ('ready', 'handed_over')) AS done,
           (SELECT count(*) FROM pieces p WHERE p.order_line_id = l.id AND p.standing IN ('waiting', 'in_hand')) AS open,
           (SELECT count(*) FROM tries t WHERE t.n = l.n) AS attempts,
           (SELECT coalesce(sum(g.minutes), 0)::bigint FROM finishing g JOIN tries t ON t.id = g.attempt_id WHERE t.n = l.n AND g.passed) AS minutes,
           (SELECT count(g.minutes) FROM finishing g JOIN tries t ON t.id = g.attempt_id WHERE t.n = l.n AND g.passed) AS timed,
           (SELECT coalesce(sum(g.finished_cg), 0)::bigint FROM finishing g JOIN tries t ON t.id = g.attempt_id WHERE t.n = l.n AND g.passed) AS finished_cg,
           (SELECT count(g.finished_cg) FROM finishing g JOIN tries t ON t.id = g.attempt_id WHERE t.n = l.n AND g.passed) AS weighed,
           (SELECT coalesce(sum(g.raw_cg - g.finished_cg), 0)::bigint FROM finishing g JOIN tries t ON t.id = g.attempt_id WHERE t.n = l.n AND g.passed) AS filed_cg,
           (SELECT coalesce(round(sum(s.lost::numeric / nullif(s.pieces, 0))), 0)::bigint FROM flask_pieces fp JOIN tries t ON t.id = fp.attempt_id
              JOIN losses s ON s.flask = fp.flask_id JOIN pours u ON u.flask_id = fp.flask_id
             WHERE t.n = l.n AND (fp.left_at IS NULL OR fp.left_at >= u.poured_at)) AS lost_cg,
           (SELECT sum(b.cg * m.price_per_g) / sum(b.cg) FROM metal_batch_lots b JOIN metal_lots m ON m.id = b.lot_id
             WHERE m.price_per_g IS NOT NULL AND m.alloy_id = l.alloy_id AND m.currency = (SELECT currency FROM studio)
               AND b.batch_id IN (SELECT u.metal_batch_id FROM flask_pieces fp JOIN tries t ON t.id = fp.attempt_id
                 JOIN pours u ON u.flask_id = fp.flask_id
                WHERE t.n = l.n AND (fp.left_at IS NULL OR fp.left_at >= u.poured_at))) AS bought_at
         FROM order_lines l WHERE l.order_id = $1 AND l.removed_at IS NULL ORDER BY l.n",
    )
    .bind(order)
    .fetch_all(pool)
    .await?;
    let shares: Vec<ShareRow> = sqlx::query_as(SHARES).bind(order).fetch_all(pool).await?;
    for (n, what, amount, of_batch, in_batch, known, all, measured) in shares {
        let Some(share) = Share::named(&what) else { continue };
        if let Some(line) = lines.iter_mut().find(|line| line.n == n) {
            let shared = Shared { amount, of_batch, in_batch, known, all, measured };
            line.shares.insert(share, shared);
        }
    }
    Ok(lines)
}

/// Line, what was shared, and the fields of [`Shared`] in their order.
type ShareRow = (i32, String, f64, f64, f64, i64, i64, bool);

/// What a printer or a scale told at a step is taken before what was reckoned, which counts only
/// where nothing was told; the powder is what was weighed out for the flask's mix, by the share of
/// the flask in it. A flask counts from its pour, a load by the flasks poured out of it. Beside
/// each sum stands of how many attempts it is, and how many there are in all.
const SHARES: &str = "WITH tries AS (
       SELECT l.n, t.id, p.label FROM order_lines l JOIN pieces p ON p.order_line_id = l.id
       JOIN attempts t ON t.piece_id = p.id AND t.outcome IS DISTINCT FROM 'cancelled'
       WHERE l.order_id = $1),
     told AS (
       SELECT subject, stage, step, attempt_id, told FROM bench_steps WHERE taken_back_at IS NULL),
     on_plate AS (
       SELECT t.n, pl.id, pl.number, coalesce((o.told->>'resin_ml')::double precision, pl.resin_ml) AS ml,
              coalesce((o.told->>'hours')::double precision, pl.estimated_min / 60) AS hours,
              coalesce(o.told ? 'resin_ml', false) AS ml_told, coalesce(o.told ? 'hours', false) AS hours_told,
              (SELECT count(*) FROM plate_pieces x WHERE x.plate_id = pl.id
                  AND (x.left_at IS NULL OR x.left_at >= pl.started_at))::double precision AS pieces
         FROM tries t JOIN plate_pieces pp ON pp.attempt_id = t.id
         JOIN plates pl ON pl.id = pp.plate_id AND pl.state = 'done' AND (pp.left_at IS NULL OR pp.left_at >= pl.started_at)
         LEFT JOIN LATERAL (SELECT told FROM told s WHERE s.subject = 'plate:' || pl.number AND s.step = 'off' LIMIT 1) o ON true),
     in_flask AS (
       SELECT t.n, f.number, u.kiln_load_id, (f.mix_id IS NOT NULL OR f.mix_started_at IS NOT NULL) AS mixed,
              coalesce(m.powder_g * coalesce(f.powder_g / nullif(m.whole_g, 0), 1.0 / nullif(m.flasks, 0)), f.powder_g) / 1000 AS kg,
              (SELECT count(*) FROM flask_pieces x WHERE x.flask_id = f.id
                  AND (x.left_at IS NULL OR x.left_at >= u.poured_at))::double precision AS pieces
         FROM tries t JOIN flask_pieces fp ON fp.attempt_id = t.id
         JOIN flasks f ON f.id = fp.flask_id JOIN pours u ON u.flask_id = f.id
         LEFT JOIN LATERAL (SELECT x.powder_g, (SELECT sum(y.powder_g) FROM flasks y WHERE y.mix_id = x.id) AS whole_g,
              (SELECT count(*) FROM flasks y WHERE y.mix_id = x.id) AS flasks FROM mixes x WHERE x.id = f.mix_id) m ON true
        WHERE fp.left_at IS NULL OR fp.left_at >= u.poured_at),
     in_load AS (
       SELECT i.n, i.pieces, extract(epoch FROM l.ended_at - l.started_at)::double precision / 3600 AS hours,
              (m.told->>'kwh')::double precision AS kwh, (m.told->>'gas_kg')::double precision AS gas,
              (SELECT count(*) FROM pours u WHERE u.kiln_load_id = l.id)::double precision AS flasks
         FROM in_flask i LEFT JOIN kiln_loads l ON l.id = i.kiln_load_id AND l.state = 'ended'
         LEFT JOIN LATERAL (SELECT told FROM told s WHERE s.subject = 'load:' || l.number AND s.step = 'meter' LIMIT 1) m ON true),
     at_bench AS (
       SELECT t.n, t.id AS attempt, (s.told->>'minutes')::double precision AS minutes, 1::double precision AS pieces
         FROM tries t JOIN told s ON s.attempt_id = t.id
        WHERE s.step IN ('supports_off', 'cleaned', 'sprued')
       UNION ALL
       SELECT o.n, NULL, (s.told->>'minutes')::double precision, o.pieces FROM on_plate o
         JOIN told s ON s.subject = 'plate:' || o.number AND s.step = 'supports_off' AND s.attempt_id IS NULL
       UNION ALL
       SELECT i.n, NULL, (s.told->>'minutes')::double precision, i.pieces FROM in_flask i
         JOIN told s ON s.subject = 'flask:' || i.number AND s.attempt_id IS NULL
          AND s.step IN ('cleaned', 'sprued', 'bubbles', 'worked', 'out')),
     known AS (
       SELECT n, 'resin' AS what, ml AS of_batch, ml / pieces AS amount, pieces AS in_batch, ml_told AS told FROM on_plate
       UNION ALL SELECT n, 'printer', nullif(hours, 0), nullif(hours, 0) / pieces, pieces, hours_told FROM on_plate
       UNION ALL SELECT n, 'powder', kg, kg / pieces, pieces, mixed AND kg IS NOT NULL FROM in_flask
       UNION ALL SELECT n, 'energy', kwh, kwh / flasks / pieces, flasks, kwh IS NOT NULL FROM in_load
       UNION ALL SELECT n, 'gas', gas, gas / flasks / pieces, flasks, gas IS NOT NULL FROM in_load
       UNION ALL SELECT n, 'kiln', nullif(hours, 0), nullif(hours, 0) / flasks / pieces, flasks, hours > 0 FROM in_load
       UNION ALL SELECT n, 'bench', minutes, minutes / pieces, pieces, minutes IS NOT NULL FROM at_bench),
     chosen AS (
       SELECT n, what, of_batch, amount, in_batch, bool_or(coalesce(told, false)) OVER (PARTITION BY n, what) AS any_told,
              coalesce(told, false) AS told FROM known)
     SELECT n, what, sum(amount), avg(of_batch), avg(in_batch), count(amount), max(every.attempts), any_told
       FROM chosen JOIN (SELECT n, what, count(*) AS attempts FROM known GROUP BY n, what) every USING (n, what)
      WHERE amount IS NOT NULL AND (told OR NOT any_told) GROUP BY n, what, any_told";
