//! What pages read about cure batches.

use sqlx::{FromRow, PgPool};

use super::model::CureState;
use crate::clock::{Day, Moment};
use crate::id::{AttemptId, CureBatchId};
use crate::pieces::Stage;
use crate::web::{Order, Paged, Term, Turned};

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) state: CureState,
    pub(super) wash: String,
    pub(super) wash_minutes: i32,
    pub(super) medium: String,
    pub(super) cure_minutes: i32,
    pub(super) created_at: Moment,
    pub(super) ended_at: Option<Moment>,
    pub(super) due_at: Option<Moment>,
    pub(super) pieces: i64,
    pub(super) failed: i64,
}

pub(super) async fn list(
    pool: &PgPool,
    under_way: bool,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order = Order { terms: &[Term::number("b.number")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar(
        "SELECT count(*) FROM cure_batches WHERE (state NOT IN ('done', 'cancelled')) = $1",
    )
    .bind(under_way)
    .fetch_one(pool)
    .await?;
    let sql = format!(
        "SELECT {}, b.number, b.state, b.wash, b.wash_minutes, b.medium, b.cure_minutes, b.created_at, b.ended_at,
                (SELECT min(t.due_at) FROM timers t WHERE t.subject = 'cure:' || b.number AND t.ended_at IS NULL) AS due_at,
                (SELECT count(*) FROM cure_batch_pieces o WHERE o.cure_batch_id = b.id
                    AND (o.left_at IS NULL OR o.left_at = b.ended_at)) AS pieces,
                (SELECT count(*) FROM cure_batch_pieces o JOIN attempt_stages g ON g.attempt_id = o.attempt_id
                  WHERE o.cure_batch_id = b.id AND g.stage = 'cure' AND g.batch = 'cure:' || b.number
                    AND g.failed_at IS NOT NULL) AS failed
         FROM cure_batches b WHERE (b.state NOT IN ('done', 'cancelled')) = $1 AND {}{}",
        seek.column(),
        seek.beyond("$2"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(under_way)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok(seek.page(found, rows))
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct BatchRow {
    pub(super) id: CureBatchId,
    pub(super) number: i32,
    pub(super) state: CureState,
    pub(super) version: i64,
    pub(super) wash: String,
    pub(super) wash_minutes: i32,
    pub(super) medium: String,
    pub(super) cure_minutes: i32,
    pub(super) note: String,
    pub(super) ended_at: Option<Moment>,
}

pub(super) async fn load(pool: &PgPool, number: i32) -> Result<BatchRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, number, state, version, wash, wash_minutes, medium, cure_minutes, note, ended_at
         FROM cure_batches WHERE number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

/// A piece that is or was in a batch.
#[derive(Clone, Debug, FromRow)]
pub(super) struct InBatch {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) attempt_n: i32,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) resin: Option<String>,
    pub(super) left_at: Option<Moment>,
    finished: bool,
    failed: bool,
    failed_at_stage: Option<Stage>,
    cause: Option<String>,
}

impl InBatch {
    pub(super) fn path(&self) -> String {
        format!("/pieces/{}", self.label)
    }

    /// What became of it in this batch.
    pub(super) fn outcome(&self) -> String {
        let cause = || self.cause.clone().unwrap_or_default();
        match (self.failed, self.finished, self.left_at, self.failed_at_stage) {
            (true, ..) => format!("failed: {}", cause()),
            (_, true, _, Some(stage)) => format!("cured; failed later at {stage}: {}", cause()),
            (_, true, ..) => "cured".to_owned(),
            (_, _, Some(_), _) => "taken out".to_owned(),
            _ => "in the batch".to_owned(),
        }
    }

    pub(super) fn has_failed(&self) -> bool {
        self.failed
    }
}

/// The resin that an attempt was printed in.
const RESIN: &str =
    "(SELECT r.name FROM attempt_stages g
      JOIN plates q ON q.number = CASE WHEN g.batch LIKE 'plate:%' THEN substr(g.batch, 7)::integer END
      JOIN resin_lots l ON l.id = q.resin_lot_id JOIN resins r ON r.id = l.resin_id
      WHERE g.attempt_id = t.id AND g.stage = 'print') AS resin";

/// All pieces of a batch, also those that have left it.
pub(super) async fn pieces_of(
    pool: &PgPool,
    batch: &BatchRow,
) -> Result<Vec<InBatch>, sqlx::Error> {
    let sql = format!(
        "SELECT t.id AS attempt, p.label, t.n AS attempt_n, d.name AS design, c.name AS client, {RESIN},
                b.left_at, coalesce(s.batch = $2 AND s.finished_at IS NOT NULL, false) AS finished,
                coalesce(s.batch = $2 AND s.failed_at IS NOT NULL, false) AS failed,
                t.failed_at_stage::text AS failed_at_stage, t.cause
         FROM cure_batch_pieces b JOIN attempts t ON t.id = b.attempt_id JOIN pieces p ON p.id = t.piece_id
         JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines n ON n.id = p.order_line_id JOIN design_versions v ON v.id = n.design_version_id
         JOIN designs d ON d.id = v.design_id
         LEFT JOIN attempt_stages s ON s.attempt_id = t.id AND s.stage = 'cure'
         WHERE b.cure_batch_id = $1 ORDER BY o.number, p.n"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(batch.id)
        .bind(format!("cure:{}", batch.number))
        .fetch_all(pool)
        .await
}

/// A piece that waits for cure and is in no batch.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Waiting {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) attempt_n: i32,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) resin: Option<String>,
    pub(super) plate: Option<String>,
}

const WAITS: &str = "FROM pieces p JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
     WHERE p.stage = 'cure' AND p.standing = 'waiting'
       AND NOT EXISTS (SELECT 1 FROM cure_batch_pieces o WHERE o.attempt_id = t.id AND o.left_at IS NULL)";

/// As many as can sensibly be ticked in one list.
const MOST_WAITING: i64 = 300;

/// How many pieces wait for cure and are in no batch.
pub(super) async fn count_waiting(pool: &PgPool) -> Result<i64, sqlx::Error> {
    let sql = format!("SELECT count(*) {WAITS}");
    sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_one(pool).await
}

/// Pieces that wait for cure, the first due first.
pub(super) async fn waiting(pool: &PgPool) -> Result<Vec<Waiting>, sqlx::Error> {
    let sql = format!(
        "SELECT t.attempt, t.label, t.attempt_n, d.name AS design, c.name AS client, o.due_on, {RESIN},
                (SELECT replace(g.batch, ':', ' ') FROM attempt_stages g
                  WHERE g.attempt_id = t.id AND g.stage = 'print') AS plate
         FROM (SELECT t.id, t.id AS attempt, p.label, t.n AS attempt_n, p.n, p.order_id, p.order_line_id {WAITS}) t
         JOIN orders o ON o.id = t.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines n ON n.id = t.order_line_id JOIN design_versions v ON v.id = n.design_version_id
         JOIN designs d ON d.id = v.design_id
         ORDER BY o.due_on NULLS LAST, o.number, t.n LIMIT $1"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(MOST_WAITING).fetch_all(pool).await
}
