//! From a lot to every piece it went into, and from a flask to every lot behind it.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{MetalBatchId, MetalLotId};

/// A lot with its head.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LotHead {
    pub(super) alloy_id: crate::id::AlloyId,
    pub(super) alloy: String,
    pub(super) lot: String,
    pub(super) origin: String,
    pub(super) bought_on: Day,
    pub(super) bought_cg: i64,
    pub(super) supplier: String,
    /// What no entry has taken; nothing is known when its own entry was taken back.
    pub(super) left_cg: Option<i64>,
    /// The entry by which it came.
    pub(super) came_by: Option<MetalBatchId>,
}

impl LotHead {
    /// How it came, in words.
    pub(super) fn origin_words(&self) -> &'static str {
        match self.origin.as_str() {
            "melted" => "melted over",
            "refined" => "back from the refiner",
            "kept" => "kept from a client's own metal",
            _ => "bought",
        }
    }
}

pub(super) async fn lot(pool: &PgPool, id: MetalLotId) -> Result<LotHead, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.alloy_id, a.name AS alloy, l.lot, l.origin, l.bought_on, l.bought_cg, l.supplier,
                (SELECT left_cg FROM metal_lots_left WHERE id = l.id) AS left_cg,
                (SELECT s.id FROM metal_standing s WHERE s.lot_id = l.id AND s.kind <> 'poured' LIMIT 1) AS came_by
         FROM metal_lots l JOIN alloys a ON a.id = l.alloy_id WHERE l.id = $1",
    )
    .bind(id)
    .fetch_one(pool)
    .await
}

/// Something a lot went into.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Use {
    pub(super) batch_id: MetalBatchId,
    pub(super) kind: String,
    pub(super) at: Moment,
    /// The flask, when it was poured.
    pub(super) flask: Option<i32>,
    /// Straight from the lot, in centigrams; nothing when it came by way of returns or a melt.
    pub(super) cg: Option<i64>,
    pub(super) pieces: i64,
}

/// Entries that a lot's metal reached, straight, in returns or melted over; the first first.
const DOWN: &str = "WITH RECURSIVE reached (batch_id) AS (
    SELECT u.batch_id FROM metal_batch_lots u JOIN metal_standing s ON s.id = u.batch_id WHERE u.lot_id = $1
    UNION
    SELECT next.batch_id FROM reached JOIN LATERAL (
        SELECT r.batch_id FROM pours p JOIN metal_batch_returns r ON r.pour_id = p.id WHERE p.metal_batch_id = reached.batch_id
        UNION ALL
        SELECT u.batch_id FROM metal_batches m JOIN metal_batch_lots u ON u.lot_id = m.lot_id
         WHERE m.id = reached.batch_id AND m.kind = 'melted') next ON true
      JOIN metal_standing s ON s.id = next.batch_id)";

pub(super) async fn uses(pool: &PgPool, lot: MetalLotId) -> Result<Vec<Use>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{DOWN} SELECT m.id AS batch_id, m.kind, m.at, f.number AS flask, u.cg,
                (SELECT count(*) FROM flask_pieces o WHERE o.flask_id = p.flask_id
                    AND (o.left_at IS NULL OR o.left_at >= p.poured_at)) AS pieces
         FROM reached JOIN metal_batches m ON m.id = reached.batch_id
         LEFT JOIN pours p ON p.metal_batch_id = m.id LEFT JOIN flasks f ON f.id = p.flask_id
         LEFT JOIN metal_batch_lots u ON u.batch_id = m.id AND u.lot_id = $1
         ORDER BY m.at, m.id"
    )))
    .bind(lot)
    .fetch_all(pool)
    .await
}

/// A piece that a lot's metal may be in.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PieceOf {
    pub(super) label: String,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) order_number: i32,
    pub(super) standing: String,
    pub(super) flask: i32,
    pub(super) attempt: i32,
    pub(super) failed: bool,
    pub(super) straight: bool,
}

impl PieceOf {
    /// Where it is now, in words.
    pub(super) fn where_now(&self) -> &'static str {
        match (self.failed, self.standing.as_str()) {
            (true, _) => "this casting failed",
            (_, "handed_over") => "with the client",
            (_, "ready") => "ready, here",
            (_, "cancelled") => "cancelled",
            _ => "being made, here",
        }
    }
}

pub(super) async fn pieces(pool: &PgPool, lot: MetalLotId) -> Result<Vec<PieceOf>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{DOWN} SELECT x.label, d.name AS design, c.name AS client, o.number AS order_number, x.standing::text AS standing,
                f.number AS flask, t.n AS attempt, coalesce(t.outcome::text = 'failed', false) AS failed,
                EXISTS (SELECT 1 FROM metal_batch_lots u WHERE u.batch_id = p.metal_batch_id AND u.lot_id = $1) AS straight
         FROM reached JOIN pours p ON p.metal_batch_id = reached.batch_id JOIN flasks f ON f.id = p.flask_id
         JOIN flask_pieces fp ON fp.flask_id = f.id AND (fp.left_at IS NULL OR fp.left_at >= p.poured_at)
         JOIN attempts t ON t.id = fp.attempt_id JOIN pieces x ON x.id = t.piece_id
         JOIN orders o ON o.id = x.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = x.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         JOIN designs d ON d.id = v.design_id
         ORDER BY lower(c.name), o.number, x.label, t.n"
    )))
    .bind(lot)
    .fetch_all(pool)
    .await
}

/// A poured flask whose metal is asked about.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Poured {
    pub(super) flask: i32,
    pub(super) alloy_id: crate::id::AlloyId,
    pub(super) alloy: String,
    pub(super) poured_at: Moment,
    pub(super) fresh_cg: i64,
    pub(super) returns_cg: i64,
    pub(super) own_cg: i64,
    pub(super) own_client: Option<String>,
    pub(super) returns_from: String,
    batch_id: Option<MetalBatchId>,
}

pub(super) async fn poured(pool: &PgPool, flask: i32) -> Result<Poured, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number AS flask, f.alloy_id, a.name AS alloy, p.poured_at, p.fresh_cg, p.returns_cg, p.own_cg,
                c.name AS own_client, p.returns_from, p.metal_batch_id AS batch_id
         FROM pours p JOIN flasks f ON f.id = p.flask_id JOIN alloys a ON a.id = f.alloy_id
         LEFT JOIN clients c ON c.id = p.own_client_id WHERE f.number = $1",
    )
    .bind(flask)
    .fetch_one(pool)
    .await
}

/// A lot behind a flask.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Source {
    pub(super) id: MetalLotId,
    pub(super) lot: String,
    pub(super) alloy: String,
    pub(super) supplier: String,
    pub(super) bought_on: Day,
    /// Straight into this flask, in centigrams.
    pub(super) cg: Option<i64>,
}

/// Returns that were melted for a flask.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Returned {
    pub(super) flask: i32,
    pub(super) cg: i64,
}

/// Where the metal of a flask came from.
#[derive(Clone, Debug)]
pub(super) struct Behind {
    pub(super) sources: Vec<Source>,
    pub(super) returns: Vec<Returned>,
    /// Earlier flasks whose returns are in it, straight or through others.
    pub(super) flasks: Vec<i32>,
    /// Clients whose own metal may be in it by way of returns.
    pub(super) clients: Vec<String>,
}

const UP: &str = "WITH RECURSIVE behind (batch_id) AS (
    SELECT $1::uuid
    UNION
    SELECT earlier.batch_id FROM behind JOIN LATERAL (
        SELECT p.metal_batch_id AS batch_id FROM metal_batch_returns r JOIN pours p ON p.id = r.pour_id
         WHERE r.batch_id = behind.batch_id AND p.metal_batch_id IS NOT NULL
        UNION ALL
        SELECT m.id FROM metal_batch_lots u JOIN metal_batches m ON m.lot_id = u.lot_id AND m.kind = 'melted'
         WHERE u.batch_id = behind.batch_id) earlier ON true)";

pub(super) async fn behind(pool: &PgPool, of: &Poured) -> Result<Behind, sqlx::Error> {
    let sources = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{UP} SELECT l.id, l.lot, a.name AS alloy, l.supplier, l.bought_on,
                (SELECT cg FROM metal_batch_lots s WHERE s.batch_id = $1 AND s.lot_id = l.id) AS cg
         FROM metal_lots l JOIN alloys a ON a.id = l.alloy_id
         WHERE l.id IN (SELECT u.lot_id FROM behind JOIN metal_batch_lots u ON u.batch_id = behind.batch_id)
         ORDER BY cg DESC NULLS LAST, l.bought_on, l.lot"
    )))
    .bind(of.batch_id)
    .fetch_all(pool)
    .await?;
    let returns = sqlx::query_as(
        "SELECT f.number AS flask, r.cg FROM metal_batch_returns r JOIN pours p ON p.id = r.pour_id
         JOIN flasks f ON f.id = p.flask_id WHERE r.batch_id = $1 ORDER BY p.poured_at, f.number",
    )
    .bind(of.batch_id)
    .fetch_all(pool)
    .await?;
    let flasks = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "{UP} SELECT f.number FROM behind JOIN pours p ON p.metal_batch_id = behind.batch_id JOIN flasks f ON f.id = p.flask_id
         WHERE behind.batch_id <> $1 ORDER BY f.number"
    )))
    .bind(of.batch_id)
    .fetch_all(pool)
    .await?;
    let clients = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "{UP} SELECT DISTINCT c.name FROM behind JOIN pours p ON p.metal_batch_id = behind.batch_id
         JOIN clients c ON c.id = p.own_client_id WHERE behind.batch_id <> $1 AND p.own_cg > 0 ORDER BY c.name"
    )))
    .bind(of.batch_id)
    .fetch_all(pool)
    .await?;
    Ok(Behind { sources, returns, flasks, clients })
}

/// The flask that a piece was last poured in, if it was.
pub(super) async fn flask_of_piece(pool: &PgPool, label: &str) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT f.number FROM pieces x JOIN attempts t ON t.piece_id = x.id JOIN flask_pieces fp ON fp.attempt_id = t.id
         JOIN pours p ON p.flask_id = fp.flask_id JOIN flasks f ON f.id = fp.flask_id
         WHERE x.label = $1 AND (fp.left_at IS NULL OR fp.left_at >= p.poured_at) ORDER BY p.poured_at DESC LIMIT 1",
    )
    .bind(label)
    .fetch_optional(pool)
    .await
}
