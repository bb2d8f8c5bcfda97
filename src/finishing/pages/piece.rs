//! One piece at the bench: weighed, finished, passed or not, handed over.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use sqlx::PgConnection;

use crate::findings::{self, FindingRow};
use crate::finishing::forms::{self, PassForm};
use crate::finishing::view::{self, BenchRow};
use crate::finishing::{Bench, BenchPiece, actions};
use crate::metal;
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::steps;
use crate::web::{App, Fault, Form, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "finishing/piece.html")]
pub(crate) struct ShowBenchPiece {
    frame: Frame,
    piece: BenchRow,
    causes: Vec<String>,
    form: Form,
    steps: Html,
    found: Vec<FindingRow>,
    /// Marks that its alloy may bear.
    marks: Vec<String>,
}

impl ShowBenchPiece {
    fn planned(&self) -> Html {
        self.frame.show.minutes(i64::from(self.piece.planned_minutes))
    }

    fn worked(&self) -> Html {
        self.frame.show.minutes(i64::from(self.piece.minutes.unwrap_or_default()))
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    label: &str,
    back: Option<Form>,
) -> Result<ShowBenchPiece, Fault> {
    let piece = view::piece(&app.pool, label).await?;
    let causes = pieces::causes(&app.pool, Stage::Finish).await?;
    let tasks = steps::minutes_of(&app.pool, label).await?;
    let form = back.unwrap_or_else(|| prefilled(&piece, tasks));
    let steps = steps::panel(&app.pool, &signed.frame, Stage::Finish, label).await?;
    let found = findings::of_piece(&app.pool, label).await?;
    let marks = metal::marks_of(&app.pool, piece.alloy_id).await?;
    let frame = signed.frame.clone();
    Ok(ShowBenchPiece { frame, piece, causes, form, steps, found, marks })
}

/// What is known already; the minutes are those of the tasks, where none was told at the end.
fn prefilled(piece: &BenchRow, tasks: Option<f64>) -> Form {
    let grams =
        |cg: Option<i64>| cg.map(|cg| format!("{}.{:02}", cg / 100, cg % 100)).unwrap_or_default();
    Form::filled([
        ("raw", grams(piece.raw_cg)),
        ("finished", grams(piece.finished_cg)),
        (
            "minutes",
            piece
                .minutes
                .map(|minutes| minutes.to_string())
                .or_else(|| tasks.map(|minutes| format!("{minutes:.0}")))
                .unwrap_or_default(),
        ),
    ])
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
) -> Result<ShowBenchPiece, Fault> {
    page(&app, &signed, &label, None).await
}

/// Does one thing to a piece, once; a refusal stands above the piece as it is.
async fn step(
    app: &App,
    signed: &Signed,
    label: &str,
    form: Form,
    act: impl AsyncFnOnce(&mut PgConnection, i64) -> Result<(), Fault>,
) -> Result<Response, Fault> {
    step_to(app, signed, label, form, &BenchPiece(label).to_string(), act).await
}

/// The same, leading elsewhere than to the bench.
async fn step_to(
    app: &App,
    signed: &Signed,
    label: &str,
    mut form: Form,
    place: &str,
    act: impl AsyncFnOnce(&mut PgConnection, i64) -> Result<(), Fault>,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await.map_err(|fault| fault.at(""))?;
            Ok(place)
        })
        .await?;
    ended.or_show(page(app, signed, label, Some(form))).await
}

async fn wrong(app: &App, signed: &Signed, label: &str, form: Form) -> Result<Response, Fault> {
    let page = page(app, signed, label, Some(form)).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

pub(crate) async fn begin(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(raw_cg) = forms::centigrams(&mut form, "raw") else {
        return wrong(&app, &signed, &label, form).await;
    };
    let sure = form.is_sure();
    step(&app, &signed, &label, form, async |conn, seen| {
        actions::begin(conn, &signed, &label, seen, raw_cg, sure).await
    })
    .await
}

pub(crate) async fn put_back(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, &label, form, async |conn, seen| {
        actions::put_back(conn, &signed, &label, seen).await
    })
    .await
}

pub(crate) async fn pass(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(told) = PassForm::read(&mut form) else {
        return wrong(&app, &signed, &label, form).await;
    };
    step(&app, &signed, &label, form, async |conn, seen| {
        actions::pass(conn, &signed, &label, seen, told).await
    })
    .await
}

pub(crate) async fn defect(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let cause = form.line("cause", 200);
    if cause.is_empty() {
        form.wrong("cause", "Say what it looks like; the next attempt learns from it.");
    }
    let note = form.text("failure_note", 2000);
    if !form.good() {
        return wrong(&app, &signed, &label, form).await;
    }
    // Its card tells what that costs and how much later it is.
    let card = format!("/pieces/{label}");
    step_to(&app, &signed, &label, form, &card, async |conn, seen| {
        actions::defect(conn, &signed, &label, seen, &cause, &note).await
    })
    .await
}

pub(crate) async fn hand_over(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, &label, form, async |conn, seen| {
        actions::hand_over(conn, &signed, &label, seen).await
    })
    .await
}
