//! The page: what would change, what was taken over, and what is still too little.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;
use uuid::Uuid;

use super::actions;
use super::model::{LEAST, Proposal, What};
use super::view::{self, TakenRow};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

const PLACE: &str = "/estimates";

/// A setting with what was measured beside it.
pub(crate) struct Row {
    what: What,
    item: String,
    name: String,
    now: f64,
    records: usize,
    proposal: Option<Proposal>,
}

#[derive(Template, WebTemplate)]
#[template(path = "estimates/show.html")]
pub(crate) struct Estimates {
    frame: Frame,
    rows: Vec<Row>,
    taken: Vec<TakenRow>,
    form: Form,
}

impl Estimates {
    fn value(&self, what: &What, item: &str, value: &f64) -> Html {
        let show = &self.frame.show;
        match what {
            // Voids in millimetres; between the shortest and the longest run there is no unit.
            What::Limit if item.starts_with("feed") => show.number(*value, 2, "mm"),
            What::Limit => show.number(*value, 2, ""),
            What::MetalLoss | What::Shrinkage => show.number(value * 100.0, 2, "%"),
            What::Chance => show.number(value * 100.0, 0, "%"),
            What::LiftS => show.number(value, 2, "s"),
            What::FinishingMinutes => show.minutes(value.round() as i64),
        }
    }

    fn proposed(&self, row: &Row, proposal: &Proposal) -> Html {
        working_of(&self.value(&row.what, &row.item, &proposal.after), &proposal.working)
    }

    /// Those for which something else was measured.
    fn proposed_rows(&self) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.proposal.is_some()).collect()
    }

    /// The others.
    fn settled_rows(&self) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.proposal.is_none()).collect()
    }

    fn least(&self) -> usize {
        LEAST
    }
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<Estimates, Fault> {
    let mut rows = Vec::new();
    let mut conn = app.pool.acquire().await?;
    for what in What::ALL {
        for of in view::measured(&mut conn, what).await? {
            rows.push(Row {
                proposal: of.proposal(what),
                records: of.measured.len(),
                what,
                item: of.item,
                name: of.name,
                now: of.now,
            });
        }
    }
    drop(conn);
    let taken = view::taken(&app.pool).await?;
    Ok(Estimates { frame: signed.frame.clone(), rows, taken, form })
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<Estimates, Fault> {
    page(&app, &signed, Form::default()).await
}

pub(crate) async fn take(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let what: What = form.value("what").parse().map_err(|()| Fault::NotFound)?;
    let item = form.value("item").to_owned();
    let shown = form.value("after").parse().unwrap_or(f64::NAN);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::take(conn, &signed, what, &item, shown).await?;
            Ok(PLACE)
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}

pub(crate) async fn reverse(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::reverse(conn, &signed, id).await?;
            Ok(PLACE)
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
