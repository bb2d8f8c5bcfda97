//! All SQL that writes the settings.

use sqlx::{PgConnection, PgExecutor};

use super::forms::{ClosedDay, WeekHours};
use crate::clock::Day;
use crate::studio::Settings;

/// The settings, held until the commit.
pub(super) async fn lock(conn: &mut PgConnection) -> Result<Settings, sqlx::Error> {
    sqlx::query_as("SELECT * FROM studio FOR UPDATE").fetch_one(conn).await
}

/// Saves the settings if nobody else did since; says whether it did.
pub(super) async fn update(conn: &mut PgConnection, to: &Settings) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE studio SET name = $1, time_zone = $2, currency = $3, temperature_unit = $4, length_unit = $5,
           mass_unit = $6, bench_rate = $7, finishing_rate = $8, set_up_minutes = $9, bench_minutes = $10,
           overhead = $11, margin = $12, tax_name = $13, tax_rate = $14, tax_inclusive = $15, deposit = $16,
           quote_valid_days = $17, metal_loss = $18, button_share = $19, least_fresh = $20, load_min = $21,
           pour_min = $22, alloy_change_min = $23, max_hold_min = $24, max_pour_span_min = $25, ramp_limit = $26,
           flask_clearance_mm = $27, wall_clearance_mm = $28, top_clearance_mm = $29, furnace_name = $30,
           furnace_crucible_g = $31, dear_hour_min = $32, version = version + 1
         WHERE version = $33",
    )
    .bind(&to.name)
    .bind(&to.time_zone)
    .bind(&to.currency)
    .bind(&to.temperature_unit)
    .bind(&to.length_unit)
    .bind(&to.mass_unit)
    .bind(to.bench_rate)
    .bind(to.finishing_rate)
    .bind(to.set_up_minutes)
    .bind(to.bench_minutes)
    .bind(to.overhead)
    .bind(to.margin)
    .bind(&to.tax_name)
    .bind(to.tax_rate)
    .bind(to.tax_inclusive)
    .bind(to.deposit)
    .bind(to.quote_valid_days)
    .bind(to.metal_loss)
    .bind(to.button_share)
    .bind(to.least_fresh)
    .bind(to.load_min)
    .bind(to.pour_min)
    .bind(to.alloy_change_min)
    .bind(to.max_hold_min)
    .bind(to.max_pour_span_min)
    .bind(to.ramp_limit)
    .bind(to.flask_clearance_mm)
    .bind(to.wall_clearance_mm)
    .bind(to.top_clearance_mm)
    .bind(&to.furnace_name)
    .bind(to.furnace_crucible_g)
    .bind(to.dear_hour_min)
    .bind(to.version)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A currency other than this one in which something is kept, and what.
pub(super) async fn other_currency(
    db: impl PgExecutor<'_>,
    currency: &str,
) -> Result<Option<(String, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT what, currency::text FROM (
           SELECT 1 AS n, 'prices' AS what, currency FROM prices
           UNION ALL SELECT 2, 'quotes', coalesce((content->'exchange'->>'from')::char(3), currency) FROM quotes
           UNION ALL SELECT 3, 'metal bought', currency FROM metal_lots WHERE currency IS NOT NULL) kept
         WHERE currency <> $1 ORDER BY n LIMIT 1",
    )
    .bind(currency)
    .fetch_optional(db)
    .await
}

/// Puts new working hours in place of the old, if nobody saved the settings since; says whether it did.
pub(super) async fn set_hours(
    conn: &mut PgConnection,
    week: &WeekHours,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query("UPDATE studio SET version = version + 1 WHERE version = $1")
        .bind(seen)
        .execute(&mut *conn)
        .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    sqlx::query("DELETE FROM working_hours").execute(&mut *conn).await?;
    for (weekday, stretches) in (1_i16..).zip(week) {
        for (from, to) in stretches {
            sqlx::query(
                "INSERT INTO working_hours (weekday, from_min, to_min) VALUES ($1, $2, $3)",
            )
            .bind(weekday)
            .bind(from)
            .bind(to)
            .execute(&mut *conn)
            .await?;
        }
    }
    Ok(true)
}

/// Closes a day; closed again it takes the new reason.
pub(super) async fn close(conn: &mut PgConnection, closed: &ClosedDay) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO closed_days (on_day, reason) VALUES ($1, $2)
         ON CONFLICT (on_day) DO UPDATE SET reason = EXCLUDED.reason",
    )
    .bind(closed.day)
    .bind(&closed.reason)
    .execute(conn)
    .await?;
    Ok(())
}

/// Opens a day again; says whether it was closed.
pub(super) async fn reopen(conn: &mut PgConnection, day: Day) -> Result<bool, sqlx::Error> {
    let done =
        sqlx::query("DELETE FROM closed_days WHERE on_day = $1").bind(day).execute(conn).await?;
    Ok(done.rows_affected() == 1)
}
