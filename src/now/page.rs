//! The page: the first thing large, the others below, and what runs.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use super::back::BACK;
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
    did: Option<Done>,
}

/// A step that was just recorded.
struct Done {
    words: String,
    path: String,
    version: i64,
    can_be_taken_back: bool,
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
    let did = done(&app, &asked.did).await?;
    let at_work = steps::at_work(pool).await?;
    let first = open.next();
    Ok(Now { now, first, open: open.collect(), later, at_work, did, frame: signed.frame })
}

/// What was just recorded, by the address of the thing.
async fn done(app: &App, path: &str) -> Result<Option<Done>, Fault> {
    let Some((room, number)) = path.trim_start_matches('/').split_once('/') else {
        return Ok(None);
    };
    let Ok(number) = number.parse::<i32>() else { return Ok(None) };
    let Some(found) = view::did(&app.pool, room, number).await? else { return Ok(None) };
    let (thing, words) = match (room, found.state.as_str()) {
        ("plates", "printing") => ("Plate", "prints"),
        ("plates", "done") => ("Plate", "is done"),
        ("plates", _) => ("Plate", "is laid out again"),
        ("cure", "washing") => ("Cure batch", "is in the wash"),
        ("cure", "curing") => ("Cure batch", "is curing"),
        ("cure", "done") => ("Cure batch", "is cured"),
        ("cure", _) => ("Cure batch", "is to begin again"),
        ("flasks", "weighed") => ("Flask", "is to be mixed for again"),
        ("flasks", "mixing") => ("Flask", "is being mixed for"),
        ("flasks", "setting") => ("Flask", "is left to set"),
        ("loads", "planned") => ("Load", "is to start again"),
        ("loads", "burning") => ("Load", "burns out"),
        ("loads", "held") => ("Load", "is held"),
        _ => return Ok(None),
    };
    let resting = ["open", "weighed", "planned", "cancelled"];
    Ok(Some(Done {
        words: format!("{thing} {number} {words}."),
        path: format!("/{room}/{number}"),
        version: found.version,
        can_be_taken_back: !resting.contains(&found.state.as_str()),
    }))
}
