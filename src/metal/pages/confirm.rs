//! Before a count is posted that differs by more than a scale does: what differs, in grams and
//! money, and a button that means it.

use askama::Template;
use askama_web::WebTemplate;
use rust_decimal::Decimal;

use crate::id::AlloyId;
use crate::metal::MetalPage;
use crate::people::Signed;
use crate::prices::DayPrices;
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame};

/// Beyond this share of what the ledger says it is asked, in per cent. Common practice, no source.
const LARGE_PERCENT: i64 = 1;
/// Beyond this it is asked whatever the share, in centigrams.
const LARGE_CG: i64 = 100;

/// Something that was weighed, and what the ledger says of it.
pub(super) struct Weighed {
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) place: String,
    pub(super) ledger_cg: i64,
    pub(super) counted_cg: i64,
}

impl Weighed {
    fn found_cg(&self) -> i64 {
        self.counted_cg.saturating_sub(self.ledger_cg)
    }

    /// Whether it differs by more than weighing explains.
    fn is_large(&self) -> bool {
        let found = self.found_cg().saturating_abs();
        found > LARGE_CG
            || found.saturating_mul(100)
                > self.ledger_cg.saturating_abs().saturating_mul(LARGE_PERCENT)
    }
}

/// A difference as it is shown.
struct Row {
    weighed: Weighed,
    /// At the price of the day; nothing when there is none.
    worth: Option<Decimal>,
}

impl Row {
    fn sign(&self) -> &'static str {
        if self.weighed.found_cg() < 0 { "−" } else { "+" }
    }

    fn percent(&self) -> Option<f64> {
        let ledger = self.weighed.ledger_cg;
        (ledger != 0).then(|| self.weighed.found_cg() as f64 * 100.0 / ledger as f64)
    }
}

#[derive(Template, WebTemplate)]
#[template(path = "metal/confirm.html")]
pub(crate) struct ConfirmCount {
    frame: Frame,
    rows: Vec<Row>,
    form: Form,
    /// Where the count is posted.
    place: String,
    currency: String,
}

impl ConfirmCount {
    /// What was typed, to be sent once more.
    fn typed(&self) -> Vec<(&str, &str)> {
        let own = |name: &str| matches!(name, "once" | "confirmed" | "again");
        self.form.typed().filter(|(name, _)| !own(name)).collect()
    }

    fn worth(&self) -> Option<Decimal> {
        self.rows.iter().map(|row| row.worth).sum()
    }

    /// The limits, in a sentence.
    fn limits(&self) -> String {
        format!("{LARGE_PERCENT} % of what the ledger says or {} g", LARGE_CG / 100)
    }
}

/// The page that asks, when the count was not confirmed and something of it differs much.
pub(super) async fn asks(
    app: &App,
    signed: &Signed,
    form: &Form,
    place: String,
    weighed: Vec<Weighed>,
) -> Result<Option<ConfirmCount>, Fault> {
    if form.ticked("confirmed") || !weighed.iter().any(Weighed::is_large) {
        return Ok(None);
    }
    let settings = Settings::load(&app.pool).await?;
    let alloys: Vec<_> = weighed.iter().map(|each| each.alloy_id).collect();
    let today = signed.now.day_in(&signed.frame.show.zone);
    let prices = DayPrices::load(&app.pool, today, &settings.currency, &alloys).await?;
    let rows = weighed
        .into_iter()
        .filter(|each| each.found_cg() != 0)
        .map(|weighed| {
            let grams = Decimal::new(weighed.found_cg(), 2);
            let price = prices.alloy(weighed.alloy_id, &weighed.alloy).ok();
            let worth = price
                .filter(|_| signed.frame.owner())
                .and_then(|price| price.amount.checked_mul(grams))
                .map(|amount| amount.round_dp(2));
            Row { weighed, worth }
        })
        .collect();
    let (frame, form, currency) = (signed.frame.clone(), form.clone(), settings.currency);
    Ok(Some(ConfirmCount { frame, rows, form, place, currency }))
}
