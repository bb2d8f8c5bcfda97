//! Noting and correcting prices, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::PriceForm;
use super::{PriceKind, store};
use crate::audit;
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// Notes a price from a day on. One that is noted for that day already is put
/// right only when that is asked for.
pub(super) async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    price: &PriceForm,
) -> Result<(), Fault> {
    let currency = store::hold_currency(conn).await?;
    if !store::exists(&mut *conn, price.kind, &price.item, &currency).await? {
        let refused = Refused::input("what", "There is no such thing any more; choose another.");
        return Err(refused.into());
    }
    let amount = price.amount.normalize();
    let (action, id, before) = match store::on_day(conn, price).await? {
        None => {
            let id = store::insert(conn, price, &currency, Some(signed.person), signed.now).await?;
            ("noted", id, None)
        }
        Some((_, before)) if before == price.amount => return Ok(()),
        Some((_, before)) if !price.correct => {
            let shown = signed.frame.show.money_exact_text(before, &currency);
            let before = before.normalize();
            let there = match price.kind {
                PriceKind::Exchange => {
                    format!("rate for that day already: 1 {currency} = {before} {}", price.item)
                }
                kind => {
                    format!("price for that day already: {shown} for a {}", kind.unit())
                }
            };
            return Err(Refused::conflict(format!(
                "There is a {there}. Tick the box if it was wrong and yours is right.",
            ))
            .at("correct")
            .into());
        }
        Some((id, before)) => {
            store::correct(conn, id, price, &currency, Some(signed.person), signed.now).await?;
            ("corrected", id, Some(before.normalize()))
        }
    };
    let detail = json!({
        "kind": price.kind.word(), "item": price.item, "from": price.valid_from,
        "amount": amount, "before": before, "currency": currency,
    });
    let subject = format!("price:{id}");
    audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await?;
    Ok(())
}
