//! One cure batch: its clock, large, and the one next thing to do.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;
use sqlx::PgConnection;

use crate::cure_batches::model::CureState;
use crate::cure_batches::view::{self, BatchRow, InBatch};
use crate::cure_batches::{CureBatch, CureBatches, actions};
use crate::doubt;
use crate::id::AttemptId;
use crate::losses;
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::steps;
use crate::timers::{self, Timer};
use crate::web::{App, Fault, Form, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "cure_batches/show.html")]
pub(crate) struct ShowCureBatch {
    frame: Frame,
    batch: BatchRow,
    /// In the batch now, or when it ended.
    pieces: Vec<InBatch>,
    /// Taken out before.
    out: Vec<InBatch>,
    timers: Vec<Timer>,
    causes: Vec<String>,
    form: Form,
    steps: Html,
    /// What failed in it, with what that costs.
    losses: Html,
}

impl ShowCureBatch {
    /// Whether its pieces have just been cured, so that investing them is what comes next.
    fn leads_on(&self) -> bool {
        let now = self.frame.show.now;
        self.batch.state == CureState::Done
            && self.batch.ended_at.is_some_and(|at| now.minutes_since(at) < 24 * 60)
    }

    fn minutes(&self, minutes: &i32) -> Html {
        self.frame.show.minutes(i64::from(*minutes))
    }

    fn took(&self, timer: &Timer) -> String {
        doubt::span(timer.ended_at.unwrap_or(timer.due_at).seconds_since(timer.started_at))
    }

    fn planned(&self, timer: &Timer) -> String {
        doubt::span(timer.due_at.seconds_since(timer.started_at))
    }

    fn several_resins(&self) -> bool {
        let mut resins: Vec<&str> =
            self.pieces.iter().filter_map(|piece| piece.resin.as_deref()).collect();
        resins.sort_unstable();
        resins.dedup();
        resins.len() > 1
    }

    fn is_ticked(&self, attempt: &AttemptId) -> bool {
        let attempt = attempt.to_string();
        self.form.all("failed").any(|ticked| ticked == attempt)
    }

    fn cause_typed(&self, attempt: &AttemptId) -> &str {
        self.form.value(&format!("cause-{attempt}"))
    }
}

/// Makes the page; a form that was refused is shown with what was typed in it.
async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<ShowCureBatch, Fault> {
    let batch = view::load(&app.pool, number).await?;
    let all = view::pieces_of(&app.pool, &batch).await?;
    let (pieces, out): (Vec<_>, Vec<_>) = all
        .into_iter()
        .partition(|piece| piece.left_at.is_none() || piece.left_at == batch.ended_at);
    let timers = timers::of(&app.pool, &actions::batch(number)).await?;
    let causes = pieces::causes(&app.pool, Stage::Cure).await?;
    let its = [actions::batch(number)];
    let losses = losses::of_batches(&app.pool, &signed.frame, &its, &[Stage::Cure]).await?;
    Ok(ShowCureBatch {
        frame: signed.frame.clone(),
        batch,
        pieces,
        out,
        timers,
        causes,
        form,
        steps: steps::panel(&app.pool, &signed.frame, Stage::Cure, number).await?,
        losses,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowCureBatch, Fault> {
    page(&app, &signed, number, Form::default()).await
}

/// Does one thing to a batch, once; a refusal stands above the batch as it is.
pub(super) async fn step(
    app: &App,
    signed: &Signed,
    number: i32,
    mut form: Form,
    act: impl AsyncFnOnce(&mut PgConnection, i64) -> Result<(), Fault>,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await.map_err(|fault| fault.at(""))?;
            Ok(CureBatch(number))
        })
        .await?;
    ended.or_show(page(app, signed, number, form)).await
}
