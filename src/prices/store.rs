//! All SQL that writes prices.

use foundry::quantity::Currency;
use rust_decimal::Decimal;
use sqlx::{PgConnection, PgExecutor};

use super::forms::PriceForm;
use super::model::PriceKind;
use crate::clock::Moment;
use crate::id::{PersonId, PriceId};

/// The studio's currency, held until the end so that it cannot change under a price.
pub(super) async fn hold_currency(conn: &mut PgConnection) -> Result<String, sqlx::Error> {
    sqlx::query_scalar("SELECT currency::text FROM studio FOR SHARE").fetch_one(conn).await
}

/// Whether there is such a thing to be priced.
pub(super) async fn exists(
    db: impl PgExecutor<'_>,
    kind: PriceKind,
    item: &str,
    currency: &str,
) -> Result<bool, sqlx::Error> {
    let query = match kind {
        PriceKind::FineMetal => "SELECT EXISTS (SELECT 1 FROM alloy_parts WHERE metal = $1)",
        PriceKind::Alloy | PriceKind::Premium => {
            "SELECT EXISTS (SELECT 1 FROM alloys WHERE id::text = $1)"
        }
        PriceKind::Resin => "SELECT EXISTS (SELECT 1 FROM resins WHERE id::text = $1)",
        PriceKind::Investment => "SELECT EXISTS (SELECT 1 FROM investments WHERE id::text = $1)",
        PriceKind::Electricity | PriceKind::Gas => "SELECT $1 = ''",
        PriceKind::Exchange => return Ok(item != currency && Currency::by_code(item).is_ok()),
    };
    sqlx::query_scalar(query).bind(item).fetch_one(db).await
}

/// The price noted for exactly that day, held until the end.
pub(super) async fn on_day(
    conn: &mut PgConnection,
    price: &PriceForm,
) -> Result<Option<(PriceId, Decimal)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, amount FROM prices WHERE kind = $1 AND item = $2 AND valid_from = $3 FOR UPDATE",
    )
    .bind(price.kind.word())
    .bind(&price.item)
    .bind(price.valid_from)
    .fetch_optional(conn)
    .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    price: &PriceForm,
    currency: &str,
    person: Option<PersonId>,
    now: Moment,
) -> Result<PriceId, sqlx::Error> {
    let id = PriceId::new();
    sqlx::query(
        "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_by, noted_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(id)
    .bind(price.kind.word())
    .bind(&price.item)
    .bind(price.kind.unit())
    .bind(price.amount)
    .bind(currency)
    .bind(price.valid_from)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(id)
}

pub(super) async fn correct(
    conn: &mut PgConnection,
    id: PriceId,
    price: &PriceForm,
    currency: &str,
    person: Option<PersonId>,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE prices SET amount = $2, currency = $3, noted_by = $4, noted_at = $5 WHERE id = $1",
    )
    .bind(id)
    .bind(price.amount)
    .bind(currency)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}
