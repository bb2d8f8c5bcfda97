//! What is done to trials, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;
use uuid::Uuid;

use super::forms::TrialForm;
use super::model::{self, Answer, Setting};
use super::store::{self, Locked};
use super::view;
use crate::audit;
use crate::id::AttemptId;
use crate::people::Signed;
use crate::web::{Fault, Refused};

async fn lock(conn: &mut PgConnection, number: i32, seen: i64) -> Result<Locked, Fault> {
    let trial = store::lock(conn, number).await?;
    if trial.version != seen {
        return Err(Refused::stale(&format!("trial {number}")).into());
    }
    Ok(trial)
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    number: i32,
) -> Result<(), Fault> {
    let subject = format!("trial:{number}");
    audit::note(conn, signed.now, Some(signed.person), action, &subject, json!({})).await?;
    Ok(())
}

pub(super) async fn begin(
    conn: &mut PgConnection,
    signed: &Signed,
    trial: &TrialForm,
) -> Result<i32, Fault> {
    let (seed, _) = Uuid::new_v4().as_u64_pair();
    let number = store::insert(conn, trial, seed.cast_signed(), signed.person, signed.now).await?;
    note(conn, signed, "begun", number).await?;
    Ok(number)
}

/// Draws an arm for each of some waiting pieces.
pub(super) async fn draw(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    attempts: &[AttemptId],
) -> Result<(), Fault> {
    let trial = lock(conn, number, seen).await?;
    if trial.ended_at.is_some() {
        return Err(Refused::conflict(format!("Trial {number} has ended; begin another.")).into());
    }
    if store::waiting(conn, attempts, trial.setting).await? != attempts.len() as i64 {
        return Err(Refused::conflict(
            "A piece has moved on since this page was made. Nothing was drawn; look at those that still wait.",
        )
        .at("pieces")
        .into());
    }
    for (n, attempt) in (trial.drawn..).zip(attempts) {
        store::draw(conn, trial.id, *attempt, n, model::arm(trial.seed, n), signed.now).await?;
    }
    store::touch(conn, trial.id, None).await?;
    note(conn, signed, "drawn for", number).await
}

pub(super) async fn end(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let trial = lock(conn, number, seen).await?;
    store::touch(conn, trial.id, Some(signed.now)).await?;
    note(conn, signed, "ended", number).await
}

/// Makes the arm that came out better the usual choice of its setting.
pub(super) async fn make_usual(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let trial = lock(conn, number, seen).await?;
    let (first, second) = view::tallies(&mut *conn, trial.id).await?;
    let better = match model::answer(first, second, trial.each_arm) {
        Answer::Is { compared, .. } => model::better(compared.value.verdict),
        Answer::NotYet { .. } => None,
    };
    let value = match (trial.setting, better) {
        (Setting::Other, _) => {
            return Err(
                Refused::conflict("This trial is about no setting that is chosen here.").into()
            );
        }
        (_, Some(1)) => &trial.first_arm,
        (_, Some(_)) => &trial.second_arm,
        (_, None) => {
            return Err(Refused::conflict(format!(
                "Trial {number} has shown no difference, so nothing becomes the usual choice by it."
            ))
            .into());
        }
    };
    store::set_usual(conn, trial.setting, value, trial.id, signed.person, signed.now).await?;
    store::touch(conn, trial.id, trial.ended_at.or(Some(signed.now))).await?;
    note(conn, signed, "made the usual choice by", number).await
}

/// Takes back that a trial's answer is the usual choice.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let trial = lock(conn, number, seen).await?;
    store::unset_usual(conn, trial.id).await?;
    store::touch(conn, trial.id, trial.ended_at).await?;
    note(conn, signed, "no longer the usual choice by", number).await
}
