//! What Now reads, from all over the bench. Only what is open is looked at.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::flasks::FlaskState;
use crate::kilns::SegmentRow;

/// A plate that is laid out or printing.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PlateRow {
    pub(super) number: i32,
    pub(super) version: i64,
    pub(super) printing: bool,
    pub(super) printer: String,
    pub(super) resin: String,
    pub(super) layer_um: i32,
    pub(super) pieces: i64,
    pub(super) due_on: Option<Day>,
    /// When the printer will have done what it prints now.
    pub(super) free_at: Option<Moment>,
    /// The other plate that is on the printer.
    pub(super) after: Option<i32>,
}

pub(super) async fn plates(pool: &PgPool) -> Result<Vec<PlateRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.number, p.version, p.state = 'printing' AS printing, r.name AS printer, s.name AS resin, p.layer_um,
                on_it.pieces, on_it.due_on,
                (SELECT b.number FROM plates b WHERE b.printer_id = p.printer_id AND b.state = 'printing' AND b.id <> p.id LIMIT 1) AS after,
                (SELECT b.started_at + make_interval(secs => coalesce(b.estimated_min, 0) * 60)
                   FROM plates b WHERE b.printer_id = p.printer_id AND b.state = 'printing') AS free_at
         FROM plates p JOIN printers r ON r.id = p.printer_id JOIN resin_lots l ON l.id = p.resin_lot_id
         JOIN resins s ON s.id = l.resin_id
         CROSS JOIN LATERAL (SELECT count(*) AS pieces, min(o.due_on) AS due_on FROM plate_pieces x
             JOIN attempts t ON t.id = x.attempt_id JOIN pieces q ON q.id = t.piece_id JOIN orders o ON o.id = q.order_id
             WHERE x.plate_id = p.id AND x.left_at IS NULL) on_it
         WHERE p.state IN ('open', 'printing') AND on_it.pieces > 0 ORDER BY p.number LIMIT 60",
    )
    .fetch_all(pool)
    .await
}

/// A cure batch that is put together, washed or cured.
#[derive(Clone, Debug, FromRow)]
pub(super) struct CureRow {
    pub(super) number: i32,
    pub(super) version: i64,
    pub(super) state: String,
    pub(super) wash: String,
    pub(super) wash_minutes: i32,
    pub(super) medium: String,
    pub(super) cure_minutes: i32,
    pub(super) pieces: i64,
    pub(super) due_on: Option<Day>,
    /// When its clock ends.
    pub(super) clock_at: Option<Moment>,
}

pub(super) async fn cures(pool: &PgPool) -> Result<Vec<CureRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT c.number, c.version, c.state, c.wash, c.wash_minutes, c.medium, c.cure_minutes, inside.pieces, inside.due_on,
                (SELECT min(due_at) FROM timers WHERE subject = 'cure:' || c.number AND ended_at IS NULL) AS clock_at
         FROM cure_batches c
         CROSS JOIN LATERAL (SELECT count(*) AS pieces, min(o.due_on) AS due_on FROM cure_batch_pieces x
             JOIN attempts t ON t.id = x.attempt_id JOIN pieces q ON q.id = t.piece_id JOIN orders o ON o.id = q.order_id
             WHERE x.cure_batch_id = c.id AND x.left_at IS NULL) inside
         WHERE c.state IN ('open', 'washing', 'curing') AND inside.pieces > 0 ORDER BY c.number LIMIT 60",
    )
    .fetch_all(pool)
    .await
}

/// A flask at the bench or at the furnace.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FlaskRow {
    pub(super) number: i32,
    pub(super) version: i64,
    pub(super) state: FlaskState,
    pub(super) alloy: String,
    /// The metals in it.
    pub(super) metals: Vec<String>,
    pub(super) pieces: i64,
    pub(super) due_on: Option<Day>,
    pub(super) powder_g: Option<f64>,
    pub(super) water_g: Option<f64>,
    pub(super) charge_g: Option<f64>,
    pub(super) melt_c: f64,
    pub(super) flask_c: f64,
    pub(super) mix_started_at: Option<Moment>,
    pub(super) mix_clock: Option<sqlx::types::Json<Vec<MixStep>>>,
    pub(super) set_from_at: Option<Moment>,
    pub(super) latest_start_at: Option<Moment>,
    pub(super) bench_set_min: i32,
    /// When the load it is planned into starts.
    pub(super) load_starts_at: Option<Moment>,
    pub(super) load: Option<i32>,
    pub(super) planned_pour_at: Option<Moment>,
    /// Until when it may stand hot.
    pub(super) hot_until: Option<Moment>,
    pub(super) quench_at: Option<Moment>,
    /// Of one that is hot: how its kiln cools, and where it stands, at the temperature of the
    /// flask poured last or at its programme's end.
    pub(super) cool_min_per_100c: Option<i32>,
    pub(super) kiln_c: Option<f64>,
}

/// A step of the mixing clock, in minutes from water.
#[derive(Clone, Debug, serde::Deserialize)]
pub(super) struct MixStep {
    pub(super) name: String,
    pub(super) end_min: f64,
}

/// Flasks in pouring order, where they have one.
pub(super) async fn flasks(pool: &PgPool) -> Result<Vec<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, f.version, f.state, a.name AS alloy, ARRAY(SELECT metal FROM alloy_parts WHERE alloy_id = a.id) AS metals, inside.pieces, inside.due_on, f.powder_g, f.water_g, f.charge_g,
                a.melt_c, f.flask_c, f.mix_started_at, f.mix_clock, f.set_from_at, f.latest_start_at, i.bench_set_min,
                CASE l.state WHEN 'planned' THEN l.planned_start_at END AS load_starts_at, l.number AS load, lf.planned_pour_at,
                l.held_at + make_interval(mins => s.max_hold_min) AS hot_until,
                (SELECT quench_at FROM pours p WHERE p.flask_id = f.id) AS quench_at, k.cool_min_per_100c,
                CASE f.state WHEN 'hot' THEN coalesce(
                    (SELECT g.flask_c FROM pours p JOIN flasks g ON g.id = p.flask_id WHERE p.kiln_load_id = l.id
                     ORDER BY p.poured_at DESC LIMIT 1), (l.programme -> -1 ->> 'target_c')::float8) END AS kiln_c
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN investments i ON i.id = f.investment_id CROSS JOIN studio s
         LEFT JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL
         LEFT JOIN kiln_loads l ON l.id = lf.kiln_load_id LEFT JOIN kilns k ON k.id = l.kiln_id
         CROSS JOIN LATERAL (SELECT count(*) AS pieces, min(o.due_on) AS due_on FROM flask_pieces x
             JOIN attempts t ON t.id = x.attempt_id JOIN pieces q ON q.id = t.piece_id JOIN orders o ON o.id = q.order_id
             WHERE x.flask_id = f.id AND x.left_at IS NULL) inside
         WHERE f.state IN ('treeing', 'weighed', 'mixing', 'setting', 'hot', 'poured')
         ORDER BY lf.planned_pour_at, f.flask_c DESC, f.number LIMIT 120",
    )
    .fetch_all(pool)
    .await
}

/// A load that is to start or burning.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LoadRow {
    pub(super) number: i32,
    pub(super) version: i64,
    pub(super) burning: bool,
    pub(super) kiln: String,
    pub(super) planned_start_at: Moment,
    pub(super) programme: sqlx::types::Json<Vec<SegmentRow>>,
    pub(super) flasks: i64,
    pub(super) clock_at: Option<Moment>,
}

pub(super) async fn loads(pool: &PgPool) -> Result<Vec<LoadRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.number, l.version, l.state = 'burning' AS burning, k.name AS kiln, l.planned_start_at, l.programme,
                (SELECT count(*) FROM kiln_load_flasks x WHERE x.kiln_load_id = l.id AND x.left_at IS NULL) AS flasks,
                (SELECT min(due_at) FROM timers WHERE subject = 'load:' || l.number AND ended_at IS NULL) AS clock_at
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state IN ('planned', 'burning')
         ORDER BY l.planned_start_at LIMIT 60",
    )
    .fetch_all(pool)
    .await
}

/// Pieces that wait for a stage and are in no batch yet.
#[derive(Clone, Debug, FromRow)]
pub(super) struct WaitingRow {
    pub(super) stage: String,
    /// For patterns that wait to be invested.
    pub(super) alloy: Option<String>,
    pub(super) pieces: i64,
    pub(super) due_on: Option<Day>,
}

pub(super) async fn waiting(pool: &PgPool) -> Result<Vec<WaitingRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.stage::text AS stage, CASE p.stage::text WHEN 'invest' THEN a.name END AS alloy,
                count(*) AS pieces, min(o.due_on) AS due_on
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
         WHERE p.standing = 'waiting' AND p.stage IN ('print', 'cure', 'invest', 'finish')
           AND NOT EXISTS (SELECT 1 FROM plate_pieces x WHERE x.attempt_id = t.id AND x.left_at IS NULL)
           AND NOT EXISTS (SELECT 1 FROM cure_batch_pieces x WHERE x.attempt_id = t.id AND x.left_at IS NULL)
           AND NOT EXISTS (SELECT 1 FROM flask_pieces x WHERE x.attempt_id = t.id AND x.left_at IS NULL)
         GROUP BY 1, 2",
    )
    .fetch_all(pool)
    .await
}

/// A casting in hand at the bench.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FinishingRow {
    pub(super) label: String,
    pub(super) design: String,
    pub(super) alloy: String,
    pub(super) minutes: i32,
    pub(super) due_on: Option<Day>,
}

pub(super) async fn finishing(pool: &PgPool) -> Result<Vec<FinishingRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.label, d.name AS design, a.name AS alloy, l.finishing_minutes AS minutes, o.due_on
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN alloys a ON a.id = l.alloy_id JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE p.stage = 'finish' AND p.standing = 'in_hand' ORDER BY o.due_on NULLS LAST, p.changed_at LIMIT 12",
    )
    .fetch_all(pool)
    .await
}

/// How the thing stands that a step was just recorded for.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Did {
    pub(super) state: String,
    pub(super) version: i64,
}

/// A plate, cure batch, flask or load by its page's address; none when there is no such thing.
pub(super) async fn did(
    pool: &PgPool,
    room: &str,
    number: i32,
) -> Result<Option<Did>, sqlx::Error> {
    let sql = match room {
        "plates" => "SELECT state, version FROM plates WHERE number = $1",
        "cure" => "SELECT state, version FROM cure_batches WHERE number = $1",
        "flasks" => "SELECT state, version FROM flasks WHERE number = $1",
        "loads" => "SELECT state, version FROM kiln_loads WHERE number = $1",
        _ => return Ok(None),
    };
    sqlx::query_as(sql).bind(number).fetch_optional(pool).await
}
