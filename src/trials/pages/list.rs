//! All trials.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::people::Signed;
use crate::trials::view::{self, TrialRow};
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "trials/list.html")]
pub(crate) struct ListTrials {
    frame: Frame,
    trials: Vec<TrialRow>,
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ListTrials, Fault> {
    Ok(ListTrials { trials: view::all(&app.pool).await?, frame: signed.frame })
}
