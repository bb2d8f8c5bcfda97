//! The page: the first thing large, the others below, and what runs.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use super::back::{BACK, Did, did};
use super::model::{Ask, Told, in_order};
use super::{asks, view};
use crate::clock::Moment;
use crate::people::Signed;
use crate::steps::{self, AtWork};
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "now/show.html")]
pub(crate) struct Now {
    frame: Frame,
    now: Moment,
    /// The one next thing.
    first: Option<Ask>,
    /// What else can be done now.
    open: Vec<Ask>,
    /// What runs, or is not to be done before its time.
    later: Vec<Ask>,
    /// Steps whose clock of work runs.
    at_work: Vec<AtWork>,
    did: Option<Did>,
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Asked {
    #[serde(default)]
    did: String,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(asked): Query<Asked>,
) -> Result<Now, Fault> {
    let (pool, show, now) = (&app.pool, &signed.frame.show, signed.now);
    let mut all: Vec<Ask> = Vec::new();
    let flasks = view::flasks(pool).await?;
    let controllers = asks::controllers(&flasks);
    all.extend(flasks.iter().filter_map(|row| asks::flask(row, &controllers, show, now)));
    all.extend(view::plates(pool).await?.iter().map(|row| asks::plate(row, show)));
    all.extend(view::cures(pool).await?.iter().map(|row| asks::cure(row, show)));
    all.extend(view::loads(pool).await?.iter().map(|row| asks::load(row, show)));
    all.extend(view::finishing(pool).await?.iter().map(|row| asks::finishing(row, show)));
    all.extend(view::waiting(pool).await?.iter().filter_map(asks::waiting));
    let (open, later) = in_order(all, now);
    let mut open = open.into_iter();
    let did = did(pool, &asked.did).await?;
    let at_work = steps::at_work(pool).await?;
    let first = open.next();
    Ok(Now { now, first, open: open.collect(), later, at_work, did, frame: signed.frame })
}
