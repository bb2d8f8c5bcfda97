//! All SQL of tariffs.

use foundry::heat::{Tariff, TariffBand};
use foundry::quantity::Currency;
use rust_decimal::Decimal;
use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::forms::NewTariff;
use super::model::{Hours, bands_or_flat, tariff};
use crate::clock::{Day, Moment};
use crate::id::PersonId;

/// A tariff that was noted.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TariffRow {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) currency: String,
    pub(super) base_price: Decimal,
    pub(super) valid_from: Day,
    #[sqlx(skip)]
    pub(super) hours: Vec<Hours>,
}

const COLUMNS: &str =
    "SELECT id, name, currency::text AS currency, base_price, valid_from FROM tariffs";

async fn hours(pool: &PgPool, tariff: Uuid) -> Result<Vec<Hours>, sqlx::Error> {
    sqlx::query_as(
        "SELECT days, from_min, to_min, price FROM tariff_hours WHERE tariff_id = $1 ORDER BY n",
    )
    .bind(tariff)
    .fetch_all(pool)
    .await
}

/// The tariffs, newest first.
pub(super) async fn list(pool: &PgPool) -> Result<Vec<TariffRow>, sqlx::Error> {
    let sql = format!("{COLUMNS} ORDER BY valid_from DESC LIMIT 30");
    let mut rows: Vec<TariffRow> = sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await?;
    for row in &mut rows {
        row.hours = hours(pool, row.id).await?;
    }
    Ok(rows)
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    new: &NewTariff,
    currency: &str,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    sqlx::query(
        "INSERT INTO tariffs (id, name, currency, base_price, valid_from, noted_by, noted_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(id)
    .bind(&new.name)
    .bind(currency)
    .bind(new.base)
    .bind(new.valid_from)
    .bind(person)
    .bind(now)
    .execute(&mut *conn)
    .await?;
    for (n, hours) in (1_i32..).zip(&new.hours) {
        sqlx::query(
            "INSERT INTO tariff_hours (tariff_id, n, days, from_min, to_min, price)
             VALUES ($1, $2, $3, $4, $5, $6)",
        )
        .bind(id)
        .bind(n)
        .bind(hours.days.word())
        .bind(hours.from_min)
        .bind(hours.to_min)
        .bind(hours.price)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

pub(super) async fn remove(conn: &mut PgConnection, tariff: Uuid) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM tariffs WHERE id = $1").bind(tariff).execute(conn).await?;
    Ok(())
}

/// What electricity costs on a day.
#[derive(Clone, Debug)]
pub struct InForce {
    /// What it is called.
    pub name: String,
    /// The prices of the week.
    pub tariff: Tariff,
    /// The same band by band, in order.
    pub bands: Vec<TariffBand>,
    /// Their currency.
    pub currency: Currency,
}

/// The tariff noted for a day, if there is one.
pub async fn noted(pool: &PgPool, day: Day) -> Result<Option<InForce>, sqlx::Error> {
    let sql = format!("{COLUMNS} WHERE valid_from <= $1 ORDER BY valid_from DESC LIMIT 1");
    let row: Option<TariffRow> =
        sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(day).fetch_optional(pool).await?;
    let Some(row) = row else { return Ok(None) };
    let Ok(currency) = Currency::by_code(&row.currency) else { return Ok(None) };
    let hours = hours(pool, row.id).await?;
    Ok(Some(InForce {
        tariff: tariff(row.base_price, &hours, currency),
        bands: bands_or_flat(row.base_price, &hours),
        currency,
        name: row.name,
    }))
}

/// The tariff of a day; where none is noted, the price of electricity; else nothing.
pub async fn in_force(pool: &PgPool, day: Day) -> Result<Option<InForce>, sqlx::Error> {
    if let Some(noted) = noted(pool, day).await? {
        return Ok(Some(noted));
    }
    let flat: Option<(Decimal, String)> = sqlx::query_as(
        "SELECT amount, currency::text FROM prices WHERE kind = 'electricity' AND valid_from <= $1
         ORDER BY valid_from DESC LIMIT 1",
    )
    .bind(day)
    .fetch_optional(pool)
    .await?;
    Ok(flat.and_then(|(amount, currency)| {
        let currency = Currency::by_code(&currency).ok()?;
        Some(InForce {
            name: "the price of electricity".to_owned(),
            tariff: Tariff::flat(amount, currency),
            bands: bands_or_flat(amount, &[]),
            currency,
        })
    }))
}
