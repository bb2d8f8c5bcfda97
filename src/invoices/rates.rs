//! Invoices and money in another currency than the studio's: which, and booked at which rate.

use sqlx::PgConnection;

use super::forms::{Abroad, Money};
use super::store::{self, Booked, Locked};
use crate::id::ClientId;
use crate::people::Signed;
use crate::prices;
use crate::quotes;
use crate::studio::Settings;
use crate::web::{Fault, Form, Refused};
use foundry::quantity::Currency;
use rust_decimal::Decimal;

/// The currency of a code that was checked when it was kept.
pub(super) fn currency(code: &str) -> Result<Currency, Fault> {
    Currency::by_code(code).map_err(|refusal| Refused::conflict(refusal.to_string()).into())
}

/// How an invoice is booked that is written today: at the rate of the price book, or, where it has
/// none, at that which was agreed in the quote.
pub(super) async fn booked_today(
    conn: &mut PgConnection,
    signed: &Signed,
    currency: &str,
    agreed: &quotes::Exchange,
) -> Result<Booked, sqlx::Error> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let found = prices::rate(&mut *conn, &agreed.from, currency, today).await?;
    let (rate, on) = found.map_or((agreed.rate, agreed.on), |found| (found.rate, found.on));
    Ok(Booked { currency: agreed.from.clone(), rate, on })
}

/// Puts a draft in another currency, or books it at another rate. A draft of an order stays in the
/// currency that was agreed.
pub(super) async fn change_currency(
    conn: &mut PgConnection,
    signed: &Signed,
    held: &Locked,
    typed: &Abroad,
    has_lines: bool,
) -> Result<Currency, Fault> {
    let own = Settings::load(&mut *conn).await?.currency;
    let free = held.order_id.is_none();
    let (before, code) = (held.currency.as_str(), typed.currency.code());
    let changed = code != before;
    if changed && !free {
        return Err(Refused::input(
            "currency",
            format!("The order was agreed in {before}, so its invoices are in {before}."),
        )
        .into());
    }
    if changed && has_lines && !typed.meant {
        return Err(Refused::conflict(format!(
            "The draft is in {before} and would be in {code}. Its prices are not converted: each would stand as it is, in {code}. Nothing was changed. Look at them, tick that it is meant, and save again."
        ))
        .at("currency_meant")
        .into());
    }
    if code == own {
        store::change_currency(conn, held.id, code, None).await?;
        return Ok(typed.currency);
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    let kept = store::booked(conn, held.id).await?;
    // A rate that stands there from the currency before says nothing of this one.
    let left = changed && kept.is_some_and(|kept| Some(kept.rate) == typed.rate);
    let booked = match typed.rate.filter(|_| !left) {
        Some(rate) => Booked { currency: own, rate, on: typed.on.unwrap_or(today) },
        None => {
            let day = typed.on.filter(|_| !left).unwrap_or(today);
            match prices::rate(&mut *conn, &own, code, day).await? {
                Some(found) => Booked { currency: own, rate: found.rate, on: found.on },
                None => {
                    return Err(Refused::input(
                        "rate",
                        format!("How much {code} one {own} buys is needed: the price book has no rate of it for that day, and nothing is guessed."),
                    )
                    .into());
                }
            }
        }
    };
    store::change_currency(conn, held.id, code, Some(&booked)).await?;
    Ok(typed.currency)
}

/// What money in another currency is in the studio's: as it was typed, else at the price book's rate
/// of its day, else at the rate of the client's last invoice in that currency.
pub(super) async fn booked(
    conn: &mut PgConnection,
    client: ClientId,
    money: &Money,
) -> Result<Option<(String, Decimal)>, Fault> {
    let own = Settings::load(&mut *conn).await?.currency;
    if money.currency == own {
        return Ok(None);
    }
    if let Some(typed) = money.booked {
        return Ok(Some((own, typed)));
    }
    let found = prices::rate(&mut *conn, &own, &money.currency, money.on).await?;
    let booked = match found {
        Some(found) => Some(Booked { currency: own.clone(), rate: found.rate, on: found.on }),
        None => store::last_booked(conn, client, &money.currency).await?,
    };
    match booked.filter(|booked| booked.currency == own) {
        Some(booked) => Ok(Some((own, booked.of(money.amount)))),
        None => Err(Refused::input(
            "booked",
            format!(
                "What it is in {own} is needed: the price book has no rate of {} for that day.",
                money.currency
            ),
        )
        .into()),
    }
}

/// The currency of money as chosen: the studio's, or another that the client has an account in.
pub(super) fn money_of(
    form: &mut Form,
    own: Currency,
    known: &[String],
) -> Result<Currency, Fault> {
    let typed = form.value("currency").to_owned();
    if typed.is_empty() || typed == own.code() {
        return Ok(own);
    }
    if !known.contains(&typed) {
        form.wrong("currency", "Choose one of these.");
        return Ok(own);
    }
    currency(&typed)
}
