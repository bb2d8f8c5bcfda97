//! The way to everything that is set once.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use sqlx::FromRow;

use crate::clients::Clients;
use crate::people::Owner;
use crate::printers::{Printers, Resins};
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

/// How many there are in use of each.
#[derive(Debug, FromRow)]
struct Counts {
    kilns: i64,
    flask_types: i64,
    resins: i64,
    printers: i64,
    investments: i64,
    alloys: i64,
    families: i64,
    people: i64,
    clients: i64,
    open_days: i64,
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
    let counts = sqlx::query_as(
        "SELECT (SELECT count(*) FROM kilns WHERE retired_at IS NULL) AS kilns,
                (SELECT count(*) FROM flask_types WHERE retired_at IS NULL) AS flask_types,
                (SELECT count(*) FROM resins WHERE retired_at IS NULL) AS resins,
                (SELECT count(*) FROM printers WHERE retired_at IS NULL) AS printers,
                (SELECT count(*) FROM investments WHERE retired_at IS NULL) AS investments,
                (SELECT count(*) FROM alloys WHERE retired_at IS NULL) AS alloys,
                (SELECT count(*) FROM burnout_families WHERE retired_at IS NULL) AS families,
                (SELECT count(*) FROM people WHERE left_at IS NULL) AS people,
                (SELECT count(*) FROM clients WHERE archived_at IS NULL) AS clients,
                (SELECT count(DISTINCT weekday) FROM working_hours) AS open_days",
    )
    .fetch_one(&app.pool)
    .await?;
    Ok(Index { frame: signed.frame, settings, counts })
}
