//! A piece looked over: what was found, pointed at on pictures of its model.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use sqlx::PgConnection;
use uuid::Uuid;

use super::forms::Told;
use super::looks::{LOOKS, SHOWN_PIXELS};
use super::store::{self, NewFinding};
use super::view::{self, FindingRow};
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::web::{App, Fault, Form, Frame, Refused};

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
    form.act_once(&app.pool, signed.now, async |conn| {
        let (attempt, stage) = store::attempt_of(conn, &label).await?;
        let finding = NewFinding {
            attempt,
            stage,
            what: &told.what,
            place: &told.place,
            pointed: told.pointed.map(|at| (at.look, at.x, at.y)),
            to_mend: told.to_mend,
        };
        store::add(conn, finding, signed.now, signed.person).await?;
        Ok(format!("/pieces/{label}/findings"))
    })
    .await?
    .led()
}

/// Ends a tap on a finding: commits it, or says that it was dealt with already.
/// Does something about a finding, once, unless it was dealt with already.
async fn once(
    app: &App,
    signed: &Signed,
    label: &str,
    mut form: Form,
    act: impl AsyncFnOnce(&mut PgConnection) -> Result<bool, Fault>,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            if !act(conn).await? {
                let message = "Somebody dealt with this already. This is how it stands.";
                return Err(Refused::conflict(message).into());
            }
            Ok(format!("/pieces/{label}/findings"))
        })
        .await?;
    ended
        .or_tell(async |refused| {
            page(app, signed, label, Form::default(), Some(refused.message)).await
        })
        .await
}

pub(crate) async fn mended(
    State(app): State<App>,
    signed: Signed,
    Path((label, id)): Path<(String, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    once(&app, &signed, &label, form, async |conn| {
        Ok(store::mend(conn, &label, id, signed.now).await?)
    })
    .await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path((label, id)): Path<(String, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    once(&app, &signed, &label, form, async |conn| {
        Ok(store::take_back(conn, &label, id, signed.now).await?)
    })
    .await
}
