//! A piece looked over: what was found, pointed at on pictures of its model.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use super::forms::Told;
use super::looks::{LOOKS, SHOWN_PIXELS};
use super::store::{self, NewFinding};
use super::view::{self, FindingRow};
use crate::db::once::{self, Begun, Work};
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::web::{App, Fault, Form, Frame, Refused, see_other};

/// A finding's number and place on a picture.
pub(crate) struct Mark {
    n: usize,
    x: f64,
    y: f64,
    mended: bool,
}

#[derive(Template, WebTemplate)]
#[template(path = "findings/show.html")]
pub(crate) struct ShowFindings {
    frame: Frame,
    label: String,
    stage: Stage,
    findings: Vec<FindingRow>,
    causes: Vec<String>,
    form: Form,
    refusal: Option<String>,
}

impl ShowFindings {
    fn looks(&self) -> [(&'static str, &'static str); 6] {
        LOOKS
    }

    fn pixels(&self) -> u32 {
        SHOWN_PIXELS
    }

    fn place(&self) -> String {
        format!("/pieces/{}/findings", self.label)
    }

    fn marks(&self, look: &str) -> Vec<Mark> {
        let mark = |(n, finding): (usize, &FindingRow)| {
            let (x, y) = finding.mark(look)?;
            Some(Mark { n: n + 1, x, y, mended: finding.mended_at.is_some() })
        };
        self.findings.iter().enumerate().filter_map(mark).collect()
    }

    fn known(&self) -> Vec<(String, String)> {
        self.causes.iter().map(|cause| (cause.clone(), cause.clone())).collect()
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    label: &str,
    form: Form,
    refusal: Option<String>,
) -> Result<ShowFindings, Fault> {
    let mut conn = app.pool.acquire().await?;
    let (_, stage) = store::attempt_of(&mut conn, label).await?;
    drop(conn);
    Ok(ShowFindings {
        frame: signed.frame.clone(),
        label: label.to_owned(),
        stage,
        findings: view::of_piece(&app.pool, label).await?,
        causes: pieces::causes(&app.pool, stage).await?,
        form,
        refusal,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
) -> Result<ShowFindings, Fault> {
    page(&app, &signed, &label, Form::default(), None).await
}

pub(crate) async fn note(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(told) = Told::read(&mut form) else {
        let page = page(&app, &signed, &label, form, None).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let (attempt, stage) = store::attempt_of(&mut work.tx, &label).await?;
    let finding = NewFinding {
        attempt,
        stage,
        what: &told.what,
        place: &told.place,
        pointed: told.pointed.map(|at| (at.look, at.x, at.y)),
        to_mend: told.to_mend,
    };
    store::add(&mut work.tx, finding, signed.now, signed.person).await?;
    let place = format!("/pieces/{label}/findings");
    work.commit(&place).await?;
    Ok(see_other(&place))
}

/// Ends a tap on a finding: commits it, or says that it was dealt with already.
async fn answer(
    app: &App,
    signed: &Signed,
    label: &str,
    work: Work,
    done: bool,
) -> Result<Response, Fault> {
    let place = format!("/pieces/{label}/findings");
    if done {
        work.commit(&place).await?;
        return Ok(see_other(&place));
    }
    drop(work);
    let refused = Refused::conflict("Somebody dealt with this already. This is how it stands.");
    let page = page(app, signed, label, Form::default(), Some(refused.message)).await?;
    Ok((refused.status, page).into_response())
}

pub(crate) async fn mended(
    State(app): State<App>,
    signed: Signed,
    Path((label, id)): Path<(String, Uuid)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = store::mend(&mut work.tx, &label, id, signed.now).await?;
    answer(&app, &signed, &label, work, done).await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path((label, id)): Path<(String, Uuid)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = store::take_back(&mut work.tx, &label, id, signed.now).await?;
    answer(&app, &signed, &label, work, done).await
}
