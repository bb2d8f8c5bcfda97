//! What the owner does to the studio, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::{ClosedDay, WeekHours};
use super::store;
use crate::audit;
use crate::clock::Day;
use crate::people::Signed;
use crate::studio::Settings;
use crate::web::{Fault, Refused};

/// Saves the settings. Their currency holds for every price that is kept, so it
/// stays as it is once there are any.
pub(super) async fn change(
    conn: &mut PgConnection,
    signed: &Signed,
    to: &Settings,
) -> Result<(), Fault> {
    // Whoever notes a price meanwhile waits, so that it cannot slip past the check of the currency.
    let before = store::lock(conn).await?;
    if before.currency != to.currency
        && let Some((what, currency)) = store::other_currency(&mut *conn, &to.currency).await?
    {
        return Err(Refused::conflict(format!(
            "The currency stays {}: there are {what} in {currency}, and amounts are never converted. Nothing was saved.",
            before.currency
        ))
        .at("currency")
        .into());
    }
    if !store::update(conn, to).await? {
        return Err(Refused::stale("the settings").into());
    }
    let (was, is) = differing(&before, to);
    let detail = json!({ "before": was, "after": is });
    audit::note(conn, signed.now, Some(signed.person), "changed", "studio", detail).await?;
    Ok(())
}

/// What matters for prices and plans, where it changed.
fn differing(before: &Settings, after: &Settings) -> (serde_json::Value, serde_json::Value) {
    let figures = |of: &Settings| {
        [
            ("currency", of.currency.clone()),
            ("time_zone", of.time_zone.clone()),
            ("bench_rate", of.bench_rate.to_string()),
            ("finishing_rate", of.finishing_rate.to_string()),
            ("set_up_minutes", of.set_up_minutes.to_string()),
            ("bench_minutes", of.bench_minutes.to_string()),
            ("overhead", of.overhead.to_string()),
            ("margin", of.margin.to_string()),
            ("tax_rate", of.tax_rate.to_string()),
            ("tax_inclusive", of.tax_inclusive.to_string()),
            ("deposit", of.deposit.to_string()),
            ("metal_loss", of.metal_loss.to_string()),
            ("button_share", of.button_share.to_string()),
            ("least_fresh", of.least_fresh.to_string()),
        ]
    };
    let (mut old, mut new) = (serde_json::Map::new(), serde_json::Map::new());
    for ((name, was), (_, is)) in figures(before).into_iter().zip(figures(after)) {
        if was != is {
            old.insert(name.to_owned(), was.into());
            new.insert(name.to_owned(), is.into());
        }
    }
    (old.into(), new.into())
}

pub(super) async fn set_hours(
    conn: &mut PgConnection,
    signed: &Signed,
    week: &WeekHours,
    seen: i64,
) -> Result<(), Fault> {
    if !store::set_hours(conn, week, seen).await? {
        return Err(Refused::stale("the working hours").into());
    }
    let detail = json!({ "hours": week });
    audit::note(conn, signed.now, Some(signed.person), "changed", "working_hours", detail).await?;
    Ok(())
}

pub(super) async fn close(
    conn: &mut PgConnection,
    signed: &Signed,
    closed: &ClosedDay,
) -> Result<(), Fault> {
    store::close(conn, closed).await?;
    let subject = format!("closed_day:{}", closed.day);
    let detail = json!({ "reason": closed.reason });
    audit::note(conn, signed.now, Some(signed.person), "closed", &subject, detail).await?;
    Ok(())
}

/// A day opened twice is open once.
pub(super) async fn reopen(
    conn: &mut PgConnection,
    signed: &Signed,
    day: Day,
) -> Result<(), Fault> {
    if store::reopen(conn, day).await? {
        let subject = format!("closed_day:{day}");
        audit::note(conn, signed.now, Some(signed.person), "opened", &subject, json!({})).await?;
    }
    Ok(())
}
