//! The flask sheet: one page that goes with the flask, printed in black.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};

use crate::flasks::map::TreeMap;
use crate::flasks::view::{self, FlaskRow, TreeRow};
use crate::people::Signed;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "flasks/sheet.html")]
pub(crate) struct FlaskSheet {
    frame: Frame,
    flask: FlaskRow,
    pieces: Vec<TreeRow>,
    map: Option<TreeMap>,
    by_hand: Vec<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<FlaskSheet, Fault> {
    let flask = view::load(&app.pool, number).await?;
    let pieces = view::tree(&app.pool, flask.id).await?;
    let (map, by_hand) = super::show::drawn(&flask, &pieces);
    Ok(FlaskSheet { frame: signed.frame, flask, pieces, map, by_hand })
}
