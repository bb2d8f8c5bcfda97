//! Proposing, accepting, pinning, forbidding.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::Value;

use crate::id::OutageId;
use crate::people::Signed;
use crate::plan::forms::{ForbidForm, PinForm};
use crate::plan::pages::show::Wanted;
use crate::plan::{actions, by_hand, store, think, view};
use crate::web::{App, Fault, Form};

const PLAN: &str = "/plan";
/// What was changed by hand with its cost, so that who uses the keyboard goes on from there.
const PROPOSAL: &str = "/plan#proposal";
/// What was taken back, with the way to make it again.
const REDO: &str = "/plan#redo";
/// How long the planner thinks unless told otherwise.
const SECONDS: f64 = 4.0;
/// The longest it may be told to.
const MOST_SECONDS: f64 = 600.0;

/// Does something once and leads back to the plan; a refusal is shown there.
async fn once_only<F>(app: &App, signed: &Signed, form: Form, act: F) -> Result<Response, Fault>
where
    F: AsyncFnOnce(&mut sqlx::PgConnection) -> Result<(), Fault>,
{
    once_to(PLAN, app, signed, form, act).await
}

/// The same, leading to a place on the plan's page.
async fn once_to<F>(
    place: &str,
    app: &App,
    signed: &Signed,
    mut form: Form,
    act: F,
) -> Result<Response, Fault>
where
    F: AsyncFnOnce(&mut sqlx::PgConnection) -> Result<(), Fault>,
{
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn).await?;
            Ok(place)
        })
        .await?;
    ended.or_show(super::show::page(app, signed, Some(form), &Wanted::default())).await
}

async fn unread(app: &App, signed: &Signed, form: Form) -> Result<Response, Fault> {
    let page = super::show::page(app, signed, Some(form), &Wanted::default()).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

pub(crate) async fn propose(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let seconds = match form.value("seconds") {
        "" => SECONDS,
        _ => match form.number("seconds", 1.0, MOST_SECONDS) {
            Some(seconds) => seconds,
            None => return unread(&app, &signed, form).await,
        },
    };
    let mut begun = None;
    let response = once_only(&app, &signed, form, async |conn| {
        begun = Some(actions::propose(&app.pool, conn, &signed, seconds).await?);
        Ok(())
    })
    .await?;
    // Only what was committed is thought about.
    if let (Some((plan, instance)), StatusCode::SEE_OTHER) = (begun, response.status()) {
        tokio::spawn(think::compute(app.pool.clone(), plan, instance, seconds));
    }
    Ok(response)
}

pub(crate) async fn accept(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(number) =
        form.whole("number", 1, i64::from(i32::MAX)).and_then(|n| i32::try_from(n).ok())
    else {
        return unread(&app, &signed, form).await;
    };
    once_only(&app, &signed, form, async |conn| actions::accept(conn, &signed, number).await).await
}

pub(crate) async fn discard(
    State(app): State<App>,
    signed: Signed,
    form: Form,
) -> Result<Response, Fault> {
    once_only(&app, &signed, form, async |conn| Ok(store::discard(conn).await?)).await
}

pub(crate) async fn pin(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(pin) = PinForm::read(&mut form, &signed.frame.show.zone, signed.now) else {
        return unread(&app, &signed, form).await;
    };
    once_only(&app, &signed, form, async |conn| {
        let flask = store::waiting_flask(conn, pin.flask).await?;
        Ok(store::pin(conn, flask, pin.kiln, pin.start_at, signed.person, signed.now).await?)
    })
    .await
}

pub(crate) async fn unpin(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(flask) =
        form.whole("flask", 1, i64::from(i32::MAX)).and_then(|n| i32::try_from(n).ok())
    else {
        return unread(&app, &signed, form).await;
    };
    once_only(&app, &signed, form, async |conn| Ok(store::unpin(conn, flask).await?)).await
}

pub(crate) async fn forbid(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let zone = signed.frame.show.zone.clone();
    let Some(forbid) = ForbidForm::read(&mut form, signed.now.day_in(&zone)) else {
        return unread(&app, &signed, form).await;
    };
    let until = forbid.until.plus_days(1).start_in(&zone);
    once_only(&app, &signed, form, async |conn| {
        Ok(store::forbid(conn, forbid.kiln, signed.now, until, &forbid.reason).await?)
    })
    .await
}

pub(crate) async fn allow(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(outage) = form.choice::<OutageId>("outage") else {
        return unread(&app, &signed, form).await;
    };
    once_only(&app, &signed, form, async |conn| Ok(store::allow(conn, outage, signed.now).await?))
        .await
}

/// Stops with the best plan so far.
pub(crate) async fn stop(
    State(app): State<App>,
    signed: Signed,
    form: Form,
) -> Result<Response, Fault> {
    once_only(&app, &signed, form, async |conn| Ok(store::ask_to_stop(conn).await?)).await
}

/// Puts a flask elsewhere and shows what it costs.
pub(crate) async fn move_flask(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(pin) = PinForm::read(&mut form, &signed.frame.show.zone, signed.now) else {
        return unread(&app, &signed, form).await;
    };
    // Worked out before anything is held: it takes a moment.
    let change = match by_hand::work_out(&app.pool, &signed, pin).await {
        Ok(change) => change,
        Err(Fault::Refused(refused)) => {
            form.refuse(&refused);
            let page = super::show::page(&app, &signed, Some(form), &Wanted::default()).await?;
            return Ok((refused.status, page).into_response());
        }
        Err(fault) => return Err(fault),
    };
    once_to(PROPOSAL, &app, &signed, form, async |conn| {
        by_hand::keep(conn, &change, signed.person, signed.now).await
    })
    .await
}

/// Takes the last change by hand back.
pub(crate) async fn undo(
    State(app): State<App>,
    signed: Signed,
    form: Form,
) -> Result<Response, Fault> {
    once_to(REDO, &app, &signed, form, async |conn| by_hand::undo(conn).await).await
}

/// Makes it again.
pub(crate) async fn redo(
    State(app): State<App>,
    signed: Signed,
    form: Form,
) -> Result<Response, Fault> {
    once_to(PROPOSAL, &app, &signed, form, async |conn| by_hand::redo(conn).await).await
}

/// The problem of a plan in its written form, for checking it elsewhere.
pub(crate) async fn instance(
    State(app): State<App>,
    _signed: Signed,
    Path(number): Path<i32>,
) -> Result<Json<Value>, Fault> {
    Ok(Json(view::instance(&app.pool, number).await?))
}
