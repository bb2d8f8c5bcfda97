//! The account of one fine metal over all alloys, today or at the end of an earlier day.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use foundry::metal::Element;
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::clock::Day;
use crate::metal::MetalPage;
use crate::metal::paths::FinePage;
use crate::metal::view::{self, Held};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html};

/// An alloy's part in the account, in milligrams and their parts, exact.
struct Part {
    alloy: Held,
    per_mille: Decimal,
}

impl Part {
    /// Fine grams of so many centigrams of the alloy.
    fn of(&self, cg: i64) -> Decimal {
        Decimal::new(cg, 2) * self.per_mille * Decimal::new(1, 3)
    }
}

#[derive(Template, WebTemplate)]
#[template(path = "metal/fine.html")]
pub(crate) struct ShowFine {
    frame: Frame,
    metal: Element,
    on: Option<Day>,
    parts: Vec<Part>,
    form: Form,
}

/// What of an alloy is in a place, in centigrams.
type Share = fn(&Held) -> i64;

/// The columns of the account: where the metal is, and what of an alloy is there.
const PLACES: [(&str, Share); 12] = [
    ("Fresh", |held| held.fresh),
    ("Returns", |held| held.returns),
    ("Cast", |held| held.cast),
    ("Pieces", |held| held.pieces),
    ("Filings", |held| held.filings),
    ("Clients' own", |held| held.own),
    ("Suppliers", |held| held.supplier),
    ("Clients", |held| held.client + held.settled),
    ("Handed over", |held| held.delivered),
    ("Refiner", |held| held.refiner),
    ("Melted over", |held| held.melted),
    ("Lost or missing", |held| held.loss + held.difference),
];

/// So many of the places lie in the house.
const IN_THE_HOUSE: usize = 6;

impl ShowFine {
    fn places(&self) -> Vec<&'static str> {
        PLACES.iter().map(|(name, _)| *name).collect()
    }

    fn figures(&self, part: &Part) -> Vec<Html> {
        PLACES.iter().map(|(_, held)| self.grams(part.of(held(&part.alloy)))).collect()
    }

    fn grams(&self, grams: Decimal) -> Html {
        use rust_decimal::prelude::ToPrimitive;
        if grams.is_zero() {
            return Html::trusted(String::new());
        }
        self.frame.show.grams(grams.to_f64().unwrap_or_default())
    }

    fn sums(&self) -> Vec<Decimal> {
        PLACES
            .iter()
            .map(|(_, held)| self.parts.iter().map(|part| part.of(held(&part.alloy))).sum())
            .collect()
    }

    fn totals(&self) -> Vec<Html> {
        self.sums().into_iter().map(|sum| self.grams(sum)).collect()
    }

    fn here(&self) -> Html {
        use rust_decimal::prelude::ToPrimitive;
        let here: Decimal = self.sums().into_iter().take(IN_THE_HOUSE).sum();
        self.frame.show.grams(here.to_f64().unwrap_or_default())
    }

    /// All places together: nothing, as long as the ledger balances.
    fn together(&self) -> Decimal {
        self.sums().into_iter().sum::<Decimal>().normalize()
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    on: String,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(symbol): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<ShowFine, Fault> {
    let metal = Element::by_symbol(&symbol).ok_or(Fault::NotFound)?;
    let mut form = Form::filled([("on", wanted.on)]);
    let on = form.day_or_none("on");
    let before = on.map(|day| day.plus_days(1).start_in(&signed.frame.show.zone));
    let parts = view::held(&app.pool, before, None)
        .await?
        .into_iter()
        .filter_map(|alloy| {
            let share = alloy.parts.iter().find(|(symbol, _)| symbol == metal.symbol());
            share.map(|(_, per_mille)| *per_mille).map(|per_mille| Part { alloy, per_mille })
        })
        .collect();
    Ok(ShowFine { frame: signed.frame, metal, on, parts, form })
}
