//! A computed figure that opens, in place, into its working.

use askama::Template;
use foundry::quantity::Currency;
use rust_decimal::Decimal;

use crate::json::working::{FigureJson, WorkingJson};
use crate::web::Html;

#[derive(Template)]
#[template(path = "parts/working.html")]
struct WorkingPart<'a> {
    figure: &'a Html,
    working: &'a WorkingJson,
}

/// Shows a figure that opens into the steps that led to it.
#[must_use]
pub fn working(figure: &Html, working: &WorkingJson) -> Html {
    Html::of(&WorkingPart { figure, working })
}

/// The same, from foundry's own form of a working.
#[must_use]
pub fn working_of(figure: &Html, steps: &foundry::working::Working) -> Html {
    working(figure, &WorkingJson::from(steps))
}

impl FigureJson {
    /// The number with six significant digits, enough for a pocket calculator; whole where it is an
    /// amount of money or a mass with no more decimals than those have. Money has its cents.
    #[must_use]
    pub fn shown(&self) -> String {
        let cents = Currency::by_code(&self.unit).map_or(0, |known| known.minor_digits());
        if let Ok(amount) = self.value.parse::<Decimal>()
            && amount.scale() < cents
        {
            return format!("{amount:.*}", cents as usize);
        }
        let decimals = self.value.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        match self.value.parse::<f64>() {
            Ok(value) if decimals > 4 && self.value.len() > 9 && value != 0.0 => {
                let decimals = (5 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
                let text = format!("{value:.decimals$}");
                if text.contains('.') {
                    text.trim_end_matches('0').trim_end_matches('.').to_owned()
                } else {
                    text
                }
            }
            _ => self.value.clone(),
        }
    }
}
