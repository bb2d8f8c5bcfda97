//! The SQL that writes promises.

use sqlx::PgConnection;
use sqlx::types::Json;

use super::model::Outlook;
use crate::clock::{Day, Moment};
use crate::id::{OrderId, PersonId, PromiseId};

/// Keeps a day as it was promised.
pub async fn keep(
    conn: &mut PgConnection,
    order: OrderId,
    quote_n: i32,
    promised_on: Day,
    outlook: &Outlook,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let chance = outlook.wanted_chance();
    let reason = if chance.is_none() && outlook.reason.is_empty() {
        "no chance was worked out"
    } else {
        outlook.reason()
    };
    sqlx::query(
        "INSERT INTO promises (id, order_id, quote_n, promised_on, chance, reason, forecast, made_by, made_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(PromiseId::new())
    .bind(order)
    .bind(quote_n)
    .bind(promised_on)
    .bind(chance)
    .bind(reason)
    .bind(Json(outlook))
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}
