//! How likely the days of agreed orders are, kept for lists, which cannot wait for forecasts.

use std::time::Duration;

use sqlx::{FromRow, PgPool};

use super::reckon::{Asked, reckon};
use crate::clock::{Day, Moment};
use crate::id::OrderId;
use crate::web::{App, Fault, Pace};

/// A day that holds less often than this is marked.
pub const UNLIKELY: f64 = 0.5;
/// So many orders, those due first, are looked at.
const ORDERS: i64 = 40;
/// Pieces move in batches, and time alone makes days less likely.
const PACE: Pace =
    Pace { quiet: Duration::from_secs(8), at_least_every: Duration::from_secs(1800) };
/// What days depend on.
const TOPICS: [&str; 7] =
    ["pieces", "orders", "flasks", "kiln_loads", "pours", "closed_days", "kiln_outages"];

#[derive(FromRow)]
struct Due {
    id: OrderId,
    due_on: Day,
}

/// Reckons whenever pieces, orders or loads changed, until the pool is closed.
pub async fn keep_reckoned(app: App) {
    let mut changes = app.live.watch(&TOPICS, PACE);
    while !app.pool.is_closed() {
        match reckon_agreed(&app.pool, app.clock.now()).await {
            Ok(()) | Err(Fault::Refused(_) | Fault::Busy) => {}
            Err(fault) => tracing::warn!("the chances of orders could not be reckoned: {fault:?}"),
        }
        changes.next().await;
    }
}

/// The chance of a day that is more likely missed than kept.
#[must_use]
pub fn at_risk(chance: Option<f64>) -> Option<f64> {
    chance.filter(|chance| *chance < UNLIKELY)
}

/// Reckons how likely the days of agreed orders are, those due first, and keeps what changed.
///
/// # Errors
/// When the studio cannot be read.
pub async fn reckon_agreed(pool: &PgPool, now: Moment) -> Result<(), Fault> {
    sqlx::query(
        "DELETE FROM order_chances c USING orders o
         WHERE o.id = c.order_id AND (o.state <> 'agreed' OR o.due_on IS DISTINCT FROM c.day)",
    )
    .execute(pool)
    .await?;
    let due: Vec<Due> = sqlx::query_as(
        "SELECT id, due_on FROM orders WHERE state = 'agreed' AND due_on IS NOT NULL
         ORDER BY due_on, number LIMIT $1",
    )
    .bind(ORDERS)
    .fetch_all(pool)
    .await?;
    for order in due {
        let asked = Asked { day: Some(order.due_on), ..Asked::default() };
        let outlook = reckon(pool, order.id, now, asked).await?;
        let Some(chance) = outlook.wanted_chance() else { continue };
        sqlx::query(
            "INSERT INTO order_chances (order_id, day, chance, reckoned_at) VALUES ($1, $2, $3, $4)
             ON CONFLICT (order_id) DO UPDATE SET day = EXCLUDED.day, chance = EXCLUDED.chance, reckoned_at = EXCLUDED.reckoned_at
             WHERE (order_chances.day, round(order_chances.chance::numeric, 1))
                   IS DISTINCT FROM (EXCLUDED.day, round(EXCLUDED.chance::numeric, 1))",
        )
        .bind(order.id)
        .bind(order.due_on)
        .bind(chance)
        .bind(now)
        .execute(pool)
        .await?;
    }
    Ok(())
}
