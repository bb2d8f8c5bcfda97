//! The way to everything that is set once.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::clients::Clients;
use crate::people::Owner;
use crate::printers::{Printers, Resins};
use crate::settings::view::{self, Counts};
use crate::settings::{Hours, StudioSettings};
use crate::studio::Settings;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "settings/index.html")]
pub(crate) struct Index {
    frame: Frame,
    settings: Settings,
    counts: Counts,
}

impl Index {
    /// What a studio cannot work without and does not have yet.
    fn missing(&self) -> Vec<(&'static str, &'static str)> {
        [
            (self.counts.alloys, "/studio/alloys", "an alloy to cast"),
            (self.counts.flask_types, "/studio/flask-types", "a flask type"),
            (self.counts.investments, "/studio/investments", "an investment"),
            (self.counts.families, "/studio/families", "a programme family"),
            (self.counts.kilns, "/studio/kilns", "a kiln"),
            (self.counts.printers, "/studio/printers", "a printer"),
            (self.counts.resins, "/studio/resins", "a resin"),
            (self.counts.open_days, "/studio/hours", "working hours"),
        ]
        .into_iter()
        .filter(|(n, ..)| *n == 0)
        .map(|(_, place, what)| (place, what))
        .collect()
    }
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<Index, Fault> {
    let settings = Settings::load(&app.pool).await?;
    let counts = view::counts(&app.pool).await?;
    Ok(Index { frame: signed.frame, settings, counts })
}
