//! One cure batch: its clock, large, and the one next thing to do.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use crate::cure_batches::model::CureState;
use crate::cure_batches::view::{self, BatchRow, InBatch};
use crate::cure_batches::{CureBatch, CureBatches, actions};
use crate::db::once::Work;
use crate::id::AttemptId;
use crate::losses;
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::steps;
use crate::timers::{self, Timer};
use crate::web::{App, Fault, Form, Frame, Html, Refused, see_other};

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
    refusal: Option<String>,
    steps: Html,
    /// What failed in it, with what that costs.
    losses: Html,
}

impl ShowCureBatch {
    fn minutes(&self, minutes: &i32) -> Html {
        self.frame.show.minutes(i64::from(*minutes))
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
async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    back: Option<(Form, Refused)>,
) -> Result<ShowCureBatch, Fault> {
    let batch = view::load(&app.pool, number).await?;
    let all = view::pieces_of(&app.pool, &batch).await?;
    let (pieces, out): (Vec<_>, Vec<_>) = all
        .into_iter()
        .partition(|piece| piece.left_at.is_none() || piece.left_at == batch.ended_at);
    let timers = timers::of(&app.pool, &actions::batch(number)).await?;
    let causes = pieces::causes(&app.pool, Stage::Cure).await?;
    let its = [actions::batch(number)];
    let losses = losses::of_batches(&app.pool, &signed.frame, &its, &[Stage::Cure]).await?;
    let (form, refusal) = match back {
        Some((form, refused)) => (form, Some(refused.message)),
        None => (Form::default(), None),
    };
    Ok(ShowCureBatch {
        frame: signed.frame.clone(),
        batch,
        pieces,
        out,
        timers,
        causes,
        form,
        refusal,
        steps: steps::panel(&app.pool, &signed.frame, Stage::Cure, number).await?,
        losses,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowCureBatch, Fault> {
    page(&app, &signed, number, None).await
}

/// Ends a request: commits what was done, or shows the batch as it is with the refusal above.
pub(super) async fn answer(
    app: &App,
    signed: &Signed,
    number: i32,
    form: Form,
    work: Work,
    done: Result<(), Fault>,
) -> Result<Response, Fault> {
    match done {
        Ok(()) => {
            let place = CureBatch(number).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            let status = refused.status;
            let page = page(app, signed, number, Some((form, refused))).await?;
            Ok((status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
}
