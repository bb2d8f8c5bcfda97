//! What rework pages read: where a piece is, and what could take its place.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{OrderId, PieceId};
use crate::losses::Made;
use crate::pieces::{Stage, Standing, State};

/// A piece and what it is made as.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PieceRow {
    pub(super) id: PieceId,
    #[sqlx(flatten)]
    pub(super) made: Made,
    pub(super) label: String,
    pub(super) version: i64,
    attempt_n: i32,
    stage: Stage,
    standing: Standing,
    pub(super) design: String,
    pub(super) order_id: OrderId,
    pub(super) order_number: i32,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
}

impl PieceRow {
    pub(super) fn state(&self) -> State {
        State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
    }
}

const PIECE: &str = "SELECT p.id, t.id AS attempt, p.label, p.version, p.attempt_n, p.stage::text AS stage, p.standing,
        d.name AS design, a.name AS alloy, l.alloy_id, o.id AS order_id, o.number AS order_number, c.name AS client, o.due_on,
        l.finishing_minutes, v.volume_mm3 / 1000 * a.density_g_cm3 AS model_g
    FROM pieces p JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
    JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
    JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
    JOIN LATERAL (SELECT t.id FROM attempts t WHERE t.piece_id = p.id
                   ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1) t ON true";

pub(super) async fn piece(pool: &PgPool, label: &str) -> Result<PieceRow, sqlx::Error> {
    let sql = format!("{PIECE} WHERE p.label = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(label).fetch_one(pool).await
}

/// Pieces of the same model in the same alloy for other orders that are further on, the furthest
/// first, and of those the one that is due last. Within an order nothing would be gained.
pub(super) async fn spares(pool: &PgPool, piece: &PieceRow) -> Result<Vec<PieceRow>, sqlx::Error> {
    // From the lines of the same make to the few pieces that are shown, and only then to all that
    // is shown of them.
    let order = "array_position($2, p.stage::text) DESC, p.standing = 'ready' DESC, o.due_on DESC NULLS FIRST, p.label";
    let sql = format!(
        "WITH make AS MATERIALIZED (SELECT other.id FROM pieces q JOIN order_lines m ON m.id = q.order_line_id
             JOIN order_lines other ON (other.design_version_id, other.alloy_id) = (m.design_version_id, m.alloy_id) WHERE q.id = $1),
         shown AS MATERIALIZED (SELECT p.id FROM pieces p JOIN orders o ON o.id = p.order_id
             WHERE p.order_line_id = ANY(ARRAY(SELECT id FROM make)) AND p.order_id <> $5 AND p.standing IN ('waiting', 'in_hand', 'ready')
               AND array_position($2, p.stage::text) * 3 + array_position(ARRAY['waiting', 'in_hand', 'ready'], p.standing)
                 > array_position($2, $3) * 3 + array_position(ARRAY['waiting', 'in_hand', 'ready'], $4)
             ORDER BY {order} LIMIT 12)
         {PIECE} WHERE p.id = ANY(ARRAY(SELECT id FROM shown)) ORDER BY {order}"
    );
    let stages: Vec<&str> = Stage::ALL.iter().map(|stage| stage.name()).collect();
    let standing = match piece.standing {
        Standing::Ready => "ready",
        Standing::InHand => "in_hand",
        _ => "waiting",
    };
    sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(piece.id)
        .bind(stages)
        .bind(piece.stage.name())
        .bind(standing)
        .bind(piece.order_id)
        .fetch_all(pool)
        .await
}

/// What was said when a piece was last reworked.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Before {
    pub(super) kind: String,
    pub(super) stage: Stage,
    pub(super) at: Moment,
    pub(super) note: String,
    pub(super) detail: serde_json::Value,
}

pub(super) async fn last_rework(
    pool: &PgPool,
    piece: PieceId,
) -> Result<Option<Before>, sqlx::Error> {
    sqlx::query_as(
        "SELECT kind, stage::text AS stage, at, note, detail FROM piece_events
         WHERE piece_id = $1 AND (kind IN ('sent_back', 'swapped', 'moved') OR (kind = 'failed' AND detail ? 'ready_after')) ORDER BY id DESC LIMIT 1",
    )
    .bind(piece)
    .fetch_optional(pool)
    .await
}

/// A piece of an order that may go to another one.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderPiece {
    pub(super) id: PieceId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) alloy: String,
    attempt_n: i32,
    stage: Stage,
    standing: Standing,
}

impl OrderPiece {
    pub(super) fn state(&self) -> State {
        State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
    }
}

/// An order that pieces leave, or may go to.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) id: OrderId,
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) version: i64,
}

pub(super) async fn order(pool: &PgPool, number: i32) -> Result<OrderRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, o.number, o.title, c.name AS client, o.due_on, o.version
         FROM orders o JOIN clients c ON c.id = o.client_id WHERE o.number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

/// Other orders of the same client that are being made.
pub(super) async fn sisters(pool: &PgPool, number: i32) -> Result<Vec<OrderRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, o.number, o.title, c.name AS client, o.due_on, o.version
         FROM orders o JOIN clients c ON c.id = o.client_id JOIN orders from_here ON from_here.client_id = o.client_id
         WHERE from_here.number = $1 AND o.id <> from_here.id AND o.state IN ('agreed', 'ready') ORDER BY o.number DESC LIMIT 50",
    )
    .bind(number)
    .fetch_all(pool)
    .await
}

pub(super) async fn order_pieces(
    pool: &PgPool,
    number: i32,
) -> Result<Vec<OrderPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id, p.label, d.name AS design, a.name AS alloy, p.attempt_n, p.stage::text AS stage, p.standing
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN alloys a ON a.id = l.alloy_id JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE o.number = $1 AND p.standing IN ('waiting', 'in_hand', 'ready') ORDER BY p.n LIMIT 500",
    )
    .bind(number)
    .fetch_all(pool)
    .await
}
