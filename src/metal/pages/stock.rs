//! What there is, by alloy and by account, today or at the end of an earlier day.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::clock::Day;
use crate::metal::view::{self, Held};
use crate::metal::{
    AccountEntries, Buy, CountPage, EntriesPage, FinePage, LossesPage, MeltPage, MetalPage,
    OfAlloy, OwnPage,
};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "metal/stock.html")]
pub(crate) struct ShowStock {
    frame: Frame,
    on: Option<Day>,
    alloys: Vec<Held>,
    form: Form,
}

impl ShowStock {
    fn fine(&self) -> Vec<(String, f64)> {
        view::fine_in_all(&self.alloys)
    }

    fn any(&self) -> bool {
        self.alloys.iter().any(|alloy| alloy.came() != 0 || alloy.here() != 0)
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
    Query(wanted): Query<Wanted>,
) -> Result<ShowStock, Fault> {
    let mut form = Form::filled([("on", wanted.on)]);
    let on = form.day_or_none("on");
    let before = on.map(|day| day.plus_days(1).start_in(&signed.frame.show.zone));
    let alloys = view::held(&app.pool, before, None).await?;
    Ok(ShowStock { frame: signed.frame, on, alloys, form })
}
