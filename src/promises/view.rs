//! What pages read about promises.

use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::OrderId;

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
