//! The rate of a quote in another currency: typed, or that of the price book.

use sqlx::PgPool;

use super::inputs::Inputs;
use crate::clock::Day;
use crate::prices;
use crate::web::{Fault, Form};

/// Puts the price book's rate in the form where none was typed. A rate that still stands there from
/// another currency is taken away first: it would be a wrong number in silence.
pub(super) async fn fill_rate(
    pool: &PgPool,
    form: &mut Form,
    own: &str,
    today: Day,
) -> Result<(), Fault> {
    let currency = form.value("currency").trim().to_uppercase();
    if currency.is_empty() || currency == own {
        return Ok(());
    }
    // What the page showed: the currency and the rate that stood beside it.
    let shown = form.value("rate_of").to_owned();
    let (before, rate) = shown.split_once(' ').unwrap_or_default();
    let left = !before.is_empty() && before != currency && form.value("rate").trim() == rate;
    if left {
        form.set("rate", "");
        form.set("rate_on", "");
    }
    if !form.value("rate").trim().is_empty() {
        if form.value("rate_on").trim().is_empty() {
            form.set("rate_on", &today.to_string());
        }
        return Ok(());
    }
    let day = form.value("rate_on").trim().parse().map_or(today, Day).min(today);
    match prices::rate(pool, own, &currency, day).await? {
        Some(found) => {
            form.set("rate", &found.rate.normalize().to_string());
            form.set("rate_on", &found.on.to_string());
        }
        None if left => form.wrong(
            "rate",
            format!("The rate that stood here was that of {before}. How much {currency} one {own} buys is needed; the price book has no rate for it."),
        ),
        None => {}
    }
    Ok(())
}

/// What to know about the rate of a quote when the price book has another for the day.
pub(super) async fn other_rate(
    pool: &PgPool,
    inputs: &Inputs,
    own: &str,
    today: Day,
) -> Result<Option<String>, sqlx::Error> {
    let Some(abroad) = &inputs.abroad else { return Ok(None) };
    let (code, rate) = (&abroad.currency, abroad.rate.normalize());
    let found = prices::rate(pool, own, code, today).await?;
    Ok(found.filter(|found| found.rate != abroad.rate).map(|found| {
        let known = found.rate.normalize();
        format!(
            "The price book has 1 {own} = {known} {code} since {}; this is reckoned with {rate} of {}. Empty the rate to take that of the price book.",
            found.on, abroad.on
        )
    }))
}
