//! What an order was quoted and what it took, line by line, and what to change because of it.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sqlx::{FromRow, PgPool};

use super::content::{Content, Line};
use crate::id::OrderId;
use crate::studio::Settings;

/// What was recorded of a line.
#[derive(Clone, Debug, FromRow)]
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
    /// Their share of the printer's minutes, by pieces.
    pub(super) print_min: f64,
}

/// What was recorded of each line of an order.
pub(super) async fn taken(pool: &PgPool, order: OrderId) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query_as(
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
             FROM flasks f WHERE f.id IN (SELECT flask_id FROM flask_pieces WHERE attempt_id IN (SELECT id FROM tries))),
         runs AS (
           SELECT pl.id AS plate, pl.estimated_min AS minutes,
                  (SELECT count(*) FROM plate_pieces o WHERE o.plate_id = pl.id AND (o.left_at IS NULL OR o.left_at >= pl.started_at)) AS pieces
             FROM plates pl WHERE pl.state = 'done'
              AND pl.id IN (SELECT plate_id FROM plate_pieces WHERE attempt_id IN (SELECT id FROM tries)))
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
           (SELECT coalesce(sum(r.minutes / nullif(r.pieces, 0)), 0)::double precision FROM plate_pieces pp JOIN tries t ON t.id = pp.attempt_id
              JOIN runs r ON r.plate = pp.plate_id WHERE t.n = l.n) AS print_min
         FROM order_lines l WHERE l.order_id = $1 AND l.removed_at IS NULL ORDER BY l.n",
    )
    .bind(order)
    .fetch_all(pool)
    .await
}

/// A cost as quoted and as it came out; both for the whole line.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Compared {
    pub(super) what: &'static str,
    /// In the unit of the thing itself.
    pub(super) quoted: Decimal,
    pub(super) taken: Decimal,
    pub(super) unit: &'static str,
    pub(super) quoted_cost: Decimal,
    pub(super) taken_cost: Decimal,
}

impl Compared {
    pub(super) fn more(&self) -> Decimal {
        self.taken_cost - self.quoted_cost
    }
}

/// A line as quoted and as it came out.
#[derive(Clone, Debug)]
pub(super) struct OfLine {
    pub(super) name: String,
    pub(super) quantity: u32,
    pub(super) taken: Taken,
    pub(super) costs: Vec<Compared>,
    pub(super) advice: Vec<String>,
}

impl OfLine {
    pub(super) fn more(&self) -> Decimal {
        self.costs.iter().map(Compared::more).sum()
    }
}

/// Differences smaller than this share are not worth a change of the price book.
const WORTH_A_CHANGE: f64 = 0.1;

/// Holds a line of the quote against what was recorded of it. Only what was measured is
/// compared: metal, finishing, printing.
pub(super) fn compare(content: &Content, line: &Line, taken: Taken, settings: &Settings) -> OfLine {
    let quantity = Decimal::from(line.quantity);
    let mut costs = Vec::new();
    let mut advice = Vec::new();
    let cost_of = |name: &str| -> Decimal {
        line.components.iter().filter(|part| part.name == name).map(|part| part.cost).sum()
    };
    if taken.weighed > 0 && line.metal_g > Decimal::ZERO {
        let used = Decimal::new(taken.finished_cg + taken.filed_cg + taken.lost_cg, 2);
        costs.push(Compared {
            what: "metal, with what was lost and filed off",
            quoted: line.metal_g,
            taken: used,
            unit: "g",
            quoted_cost: (line.metal_g * line.metal_price).round_dp(2),
            taken_cost: (used * line.metal_price).round_dp(2),
        });
        let gone = Decimal::new(taken.filed_cg + taken.lost_cg, 2);
        let share = (gone * Decimal::ONE_HUNDRED).checked_div(used).unwrap_or_default();
        let quoted = content.inputs.metal_loss_percent;
        if differs(quoted, share) {
            advice.push(format!(
                "{} % of the metal was lost or filed off, {} % were quoted: set “Metal lost” in the studio's settings nearer to it.",
                share.round_dp(1).normalize(),
                quoted.normalize()
            ));
        }
        let each = Decimal::new(taken.finished_cg, 2)
            .checked_div(Decimal::from(taken.weighed))
            .unwrap_or_default();
        let drawn = Decimal::try_from(line.weight_g).unwrap_or_default();
        if differs(drawn, each) {
            advice.push(format!(
                "A finished piece weighs {} g, {} g were quoted: check the density of {} and the size of the model.",
                each.round_dp(2),
                drawn.round_dp(2),
                line.alloy
            ));
        }
    }
    if taken.timed > 0 {
        let minutes = Decimal::from(taken.minutes);
        let rate = settings.finishing_rate;
        let quoted_cost = cost_of("finishing");
        let quoted = (quoted_cost * Decimal::from(60)).checked_div(rate).unwrap_or_default();
        costs.push(Compared {
            what: "finishing",
            quoted: quoted.round_dp(0),
            taken: minutes,
            unit: "min",
            quoted_cost,
            taken_cost: (minutes * rate / Decimal::from(60)).round_dp(2),
        });
        let each = minutes.checked_div(Decimal::from(taken.timed)).unwrap_or_default();
        let made = quantity + Decimal::from(content.inputs.spares);
        let asked = quoted.checked_div(made).unwrap_or_default();
        if differs(asked, each) {
            advice.push(format!(
                "Finishing took {} min a piece, {} were quoted: type that on the order the next time this design is made.",
                each.round_dp(0),
                asked.round_dp(0)
            ));
        }
    }
    let printed = cost_of("printer hours");
    if taken.print_min > 0.0 && printed > Decimal::ZERO {
        let hours = Decimal::try_from(taken.print_min / 60.0).unwrap_or_default().round_dp(2);
        let step = line.working.steps.iter().find(|s| s.result.name == "cost of printer hours");
        let rate = step
            .and_then(|step| step.inputs.iter().find(|input| input.name == "price"))
            .and_then(|input| input.value.parse::<Decimal>().ok())
            .unwrap_or_default();
        let quoted = printed.checked_div(rate).unwrap_or_default().round_dp(2);
        costs.push(Compared {
            what: "share of printer hours",
            quoted,
            taken: hours,
            unit: "h",
            quoted_cost: printed,
            taken_cost: (hours * rate).round_dp(2),
        });
        if differs(quoted, hours) {
            advice.push(format!(
                "The plates took {hours} h for this line, {quoted} h were quoted: look at how many pieces share a plate.",
            ));
        }
    }
    let planned = i64::from(line.quantity) + i64::from(content.inputs.spares);
    if taken.attempts > planned {
        advice.push(format!(
            "{} attempts were made for {} pieces and {} were quoted: quote spares, or look at why they fail.",
            taken.attempts, line.quantity, planned
        ));
    }
    OfLine { name: line.name.clone(), quantity: line.quantity, taken, costs, advice }
}

fn differs(quoted: Decimal, taken: Decimal) -> bool {
    let (quoted, taken) = (quoted.to_f64().unwrap_or_default(), taken.to_f64().unwrap_or_default());
    (taken - quoted).abs() > WORTH_A_CHANGE * quoted.abs().max(1e-9)
}
