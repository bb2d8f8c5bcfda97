//! The mixing clock as a guide at the bench: what is done now, until when, and what comes next.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;

use crate::clock::Moment;
use crate::flasks::mixing::store::{self, MixRow};
use crate::flasks::{FlaskState, actions};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, working};

/// A step of the clock with its times of day.
struct Step {
    name: String,
    begins: Moment,
    ends: Moment,
    passed: bool,
    now: bool,
}

#[derive(Template, WebTemplate)]
#[template(path = "flasks/guide.html")]
pub(crate) struct GuidePage {
    frame: Frame,
    form: Form,
    mix: MixRow,
    flasks: Vec<(i32, FlaskState, i64)>,
    steps: Vec<Step>,
}

impl GuidePage {
    /// Whether any of its flasks is still being filled.
    fn runs(&self) -> bool {
        self.flasks.iter().any(|(_, state, _)| *state == FlaskState::Mixing)
    }

    fn doing(&self) -> Option<&Step> {
        self.steps.iter().find(|step| step.now)
    }

    fn next(&self) -> Option<&Step> {
        let now = self.steps.iter().position(|step| step.now)?;
        self.steps.get(now + 1)
    }

    fn powder(&self) -> Html {
        working(&self.frame.show.bulk_grams(self.mix.powder_g), &self.mix.working)
    }
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<GuidePage, Fault> {
    let mix = store::mix(&app.pool, number).await?;
    let flasks = store::flasks_of(&app.pool, mix.id).await?;
    let at = |minutes: f64| mix.started_at.plus_seconds((minutes * 60.0).round() as i64);
    let steps = mix
        .clock
        .iter()
        .map(|step| {
            let (begins, ends) = (at(step.start_min), at(step.end_min));
            let passed = ends <= signed.now;
            let now = !passed && begins <= signed.now;
            Step { name: step.name.clone(), begins, ends, passed, now }
        })
        .collect();
    Ok(GuidePage { frame: signed.frame.clone(), form, mix, flasks, steps })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<GuidePage, Fault> {
    page(&app, &signed, number, Form::default()).await
}

/// All flasks of the mix are full and left to set.
pub(crate) async fn set(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mix = store::mix(&app.pool, number).await?;
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            for (flask, state, version) in store::flasks_of(&mut *conn, mix.id).await? {
                if state == FlaskState::Mixing {
                    actions::leave_to_set(conn, &signed, flask, version).await?;
                }
            }
            Ok(format!("/mixes/{number}"))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, form)).await
}
