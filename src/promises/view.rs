//! What pages read about promises.

use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{OrderId, PieceId};

/// A day that was promised with a quote.
#[derive(Clone, Debug, FromRow)]
pub struct PromiseRow {
    /// The day.
    pub promised_on: Day,
    /// The chance that was told with it.
    pub chance: Option<f64>,
}

/// The last promise sent with a quote of an order.
pub async fn promised(
    db: impl PgExecutor<'_>,
    order: OrderId,
    quote_n: i32,
) -> Result<Option<PromiseRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT promised_on, chance FROM promises WHERE order_id = $1 AND quote_n = $2 ORDER BY made_at DESC LIMIT 1",
    )
    .bind(order)
    .bind(quote_n)
    .fetch_optional(db)
    .await
}

/// A promise to which a client said yes, and what became of it.
#[derive(Clone, Debug, FromRow)]
pub(super) struct KeptRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client: String,
    pub(super) promised_on: Day,
    pub(super) chance: Option<f64>,
    pub(super) made_at: Moment,
    /// When the last piece was good; none while one is not.
    pub(super) ready_at: Option<Moment>,
    pub(super) cancelled: bool,
}

/// Promises with the quotes that were accepted, the newest first.
pub(super) async fn kept(pool: &PgPool) -> Result<Vec<KeptRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number, o.title, c.name AS client, p.promised_on, p.chance, p.made_at,
                CASE WHEN o.state IN ('ready', 'handed_over') THEN (
                    SELECT max(s.finished_at) FROM pieces x JOIN attempts a ON a.piece_id = x.id
                    JOIN attempt_stages s ON s.attempt_id = a.id AND s.stage = 'finish'
                    WHERE x.order_id = o.id AND a.outcome IS DISTINCT FROM 'failed') END AS ready_at,
                o.state = 'cancelled' AS cancelled
         FROM promises p JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN quotes q ON q.order_id = p.order_id AND q.n = p.quote_n AND q.state = 'accepted'
         WHERE NOT EXISTS (SELECT 1 FROM promises l WHERE l.order_id = p.order_id AND l.quote_n = p.quote_n AND l.made_at > p.made_at)
         ORDER BY p.promised_on DESC, o.number DESC LIMIT 2000",
    )
    .fetch_all(pool)
    .await
}

/// At most so many stages of pieces are read, the newest.
const STAGES_READ: i64 = 6_000;

/// How many pieces passed a stage, and how many failed there.
#[derive(Debug, FromRow)]
pub(super) struct Counted {
    pub(super) stage: String,
    pub(super) good: i64,
    pub(super) bad: i64,
}

/// A batch's time in a stage.
#[derive(Debug, FromRow)]
pub(super) struct Timed {
    pub(super) stage: String,
    pub(super) since_at: Option<Moment>,
    pub(super) entered_at: Moment,
    pub(super) ended_at: Moment,
}

const SETTLED: &str = "last AS (
    SELECT attempt_id, stage::text AS stage, entered_at, failed_at, coalesce(failed_at, finished_at) AS ended_at, batch
    FROM attempt_stages WHERE coalesce(failed_at, finished_at) > $1
    ORDER BY coalesce(failed_at, finished_at) DESC LIMIT $2)";

/// Pieces that passed or failed a stage since a moment, by stage.
pub(super) async fn counted(pool: &PgPool, since: Moment) -> Result<Vec<Counted>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "WITH {SETTLED} SELECT stage, count(*) FILTER (WHERE failed_at IS NULL) AS good,
            count(*) FILTER (WHERE failed_at IS NOT NULL) AS bad FROM last GROUP BY stage"
    )))
    .bind(since)
    .bind(STAGES_READ)
    .fetch_all(pool)
    .await
}

/// How long batches took in their stages, and when their pieces had left the stage before: a
/// batch is timed once, however many pieces are in it.
pub(super) async fn timed(pool: &PgPool, since: Moment) -> Result<Vec<Timed>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "WITH {SETTLED} SELECT DISTINCT ON (l.stage, coalesce(l.batch, l.attempt_id::text))
            l.stage, coalesce(b.finished_at, CASE WHEN l.stage = 'print' THEN a.begun_at END) AS since_at, l.entered_at, l.ended_at
         FROM last l JOIN attempts a ON a.id = l.attempt_id
         LEFT JOIN attempt_stages b ON b.attempt_id = l.attempt_id AND b.stage = CASE l.stage
            WHEN 'cure' THEN 'print' WHEN 'invest' THEN 'cure' WHEN 'finish' THEN 'cast' END
         WHERE l.entered_at IS NOT NULL AND l.stage IN ('print', 'cure', 'invest', 'finish')
         ORDER BY l.stage, coalesce(l.batch, l.attempt_id::text), l.ended_at DESC"
    )))
    .bind(since)
    .bind(STAGES_READ)
    .fetch_all(pool)
    .await
}

/// When flasks were to be poured, and when the first of their castings was cut off.
pub(super) async fn after_pours(
    pool: &PgPool,
    since: Moment,
) -> Result<Vec<(Moment, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT DISTINCT ON (p.flask_id) lf.planned_pour_at, s.finished_at
         FROM (SELECT flask_id, kiln_load_id FROM pours WHERE poured_at > $1 ORDER BY poured_at DESC LIMIT 150) p
         JOIN kiln_load_flasks lf ON lf.flask_id = p.flask_id AND lf.kiln_load_id = p.kiln_load_id
         JOIN flask_pieces fp ON fp.flask_id = p.flask_id
         JOIN attempt_stages s ON s.attempt_id = fp.attempt_id AND s.stage = 'cast' AND s.finished_at IS NOT NULL
         ORDER BY p.flask_id, s.finished_at",
    )
    .bind(since)
    .fetch_all(pool)
    .await
}

/// Pieces of an order that stand together.
#[derive(Debug, FromRow)]
pub(super) struct PieceRow {
    pub(super) line: i32,
    pub(super) stage: String,
    pub(super) standing: String,
    pub(super) entered_at: Option<Moment>,
    pub(super) since_at: Moment,
    pub(super) set_from_at: Option<Moment>,
    pub(super) planned_pour_at: Option<Moment>,
    pub(super) poured: bool,
    pub(super) pieces: i64,
}

const STANDING: &str = "SELECT l.n AS line, p.stage::text AS stage, p.standing, s.entered_at, p.changed_at AS since_at,
        f.set_from_at, lf.planned_pour_at, coalesce(f.state IN ('poured', 'divested'), false) AS poured,
        count(*) AS pieces
    FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
    LEFT JOIN attempts a ON a.piece_id = p.id AND a.ended_at IS NULL
    LEFT JOIN attempt_stages s ON s.attempt_id = a.id AND s.stage = p.stage AND s.finished_at IS NULL AND s.failed_at IS NULL
    LEFT JOIN flask_pieces fp ON fp.attempt_id = a.id AND fp.left_at IS NULL
    LEFT JOIN flasks f ON f.id = fp.flask_id
    LEFT JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL";
const TOGETHER: &str = "GROUP BY l.n, p.stage, p.standing, s.entered_at, p.changed_at, f.id, f.set_from_at, f.state, lf.planned_pour_at";

pub(super) async fn pieces(pool: &PgPool, order: OrderId) -> Result<Vec<PieceRow>, sqlx::Error> {
    let sql = format!(
        "{STANDING} WHERE p.order_id = $1 AND p.standing <> 'cancelled' {TOGETHER} ORDER BY l.n, p.stage, p.changed_at"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(order).fetch_all(pool).await
}

/// One piece as it stands.
pub(super) async fn piece(pool: &PgPool, piece: PieceId) -> Result<PieceRow, sqlx::Error> {
    let sql = format!("{STANDING} WHERE p.id = $1 {TOGETHER}");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(piece).fetch_one(pool).await
}

/// How many pieces each line of an order has.
pub(super) async fn quantities(pool: &PgPool, order: OrderId) -> Result<Vec<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT quantity FROM order_lines WHERE order_id = $1 AND removed_at IS NULL ORDER BY n",
    )
    .bind(order)
    .fetch_all(pool)
    .await
}

/// The alloy of most of an order's pieces, and at what temperature its flasks are poured.
pub(super) async fn alloy_of(
    pool: &PgPool,
    order: OrderId,
) -> Result<Option<(String, f64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.name, a.flask_c FROM order_lines l JOIN alloys a ON a.id = l.alloy_id
         WHERE l.order_id = $1 AND l.removed_at IS NULL GROUP BY a.id ORDER BY sum(l.quantity) DESC, a.name LIMIT 1",
    )
    .bind(order)
    .fetch_optional(pool)
    .await
}

/// A kind of flask with its programme.
#[derive(Debug, FromRow)]
pub(super) struct FlaskRow {
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) size_class: String,
    pub(super) family: String,
    pub(super) flask_c: f64,
    pub(super) alloy: String,
}

/// The kind that was used most of late for an alloy.
pub(super) async fn used_for(
    pool: &PgPool,
    alloy: &str,
    flask_c: f64,
) -> Result<Option<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "WITH last AS (SELECT f.flask_type_id, f.family_id FROM flasks f JOIN alloys a ON a.id = f.alloy_id
                       ORDER BY (a.name = $1) DESC, f.number DESC LIMIT 30)
         SELECT t.diameter_mm, t.height_mm, t.size_class, b.name AS family, $2::float8 AS flask_c, $1 AS alloy
         FROM last JOIN flask_types t ON t.id = last.flask_type_id JOIN burnout_families b ON b.id = last.family_id
         GROUP BY t.id, b.id ORDER BY count(*) DESC, t.diameter_mm LIMIT 1",
    )
    .bind(alloy)
    .bind(flask_c)
    .fetch_optional(pool)
    .await
}

/// The first kind there is with a programme.
pub(super) async fn first_kind(
    pool: &PgPool,
    alloy: &str,
    flask_c: f64,
) -> Result<Option<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.diameter_mm, t.height_mm, t.size_class, b.name AS family, $2::float8 AS flask_c, $1 AS alloy
         FROM flask_types t, burnout_families b
         WHERE t.retired_at IS NULL AND b.retired_at IS NULL
           AND EXISTS (SELECT 1 FROM programme_segments s WHERE s.family_id = b.id AND s.size_class = t.size_class)
         ORDER BY (b.pattern = 'resin') DESC, (t.size_class = 'M') DESC, t.owned DESC, b.name LIMIT 1",
    )
    .bind(alloy)
    .bind(flask_c)
    .fetch_optional(pool)
    .await
}

/// How long the investment in use sets, in minutes.
pub(super) async fn bench_set_min(pool: &PgPool) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT i.bench_set_min FROM investments i LEFT JOIN flasks f ON f.investment_id = i.id
         WHERE i.retired_at IS NULL ORDER BY f.number DESC NULLS LAST, i.name LIMIT 1",
    )
    .fetch_optional(pool)
    .await
}
