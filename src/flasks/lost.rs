//! A flask that is lost with everything in it, and one that was not lost after all.

use serde_json::json;
use sqlx::PgConnection;

use super::actions::expect;
use super::model::{FlaskRefusal, FlaskState};
use super::store;
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// The flask is lost with everything in it: each piece's attempt fails at its stage.
pub(super) async fn lose(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: Option<i64>,
    cause: &str,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    let Some(stage) = flask.state.stage_if_lost() else {
        let refusal = FlaskRefusal::NotNow { number, words: flask.state.words() };
        return Err(Refused::from(refusal).into());
    };
    expect(&flask, &[flask.state], seen)?;
    let subject = format!("flask:{number}");
    let wanted = store::pieces_of(conn, flask.id).await?;
    let act = Act::new(signed.now, Some(signed.person))
        .in_batch(&subject)
        .with(json!({ "flask": number }));
    pieces::record(conn, &wanted, &Happening::Failed(stage, cause.to_owned()), &act).await?;
    store::empty(conn, flask.id, signed.now).await?;
    store::lose(conn, flask.id, flask.state, signed.now).await?;
    timers::end(conn, &subject, signed.now).await?;
    Ok(())
}

/// The flask was recorded as lost by mistake: it, its place in its load and its pieces come back
/// together. A planned load takes it back where there is still room for it; one that burns or is
/// held still has it; from one that is over it cannot come back.
pub(super) async fn find(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    let Some(lost) = store::lost(conn, flask.id).await? else {
        let refusal = FlaskRefusal::NotNow { number, words: flask.state.words() };
        return Err(Refused::from(refusal).into());
    };
    expect(&flask, &[FlaskState::Cancelled], Some(seen))?;
    let stands = match (lost.lost_from, lost.load_state.as_deref()) {
        (from @ (FlaskState::Mixing | FlaskState::Setting), _) => from,
        (FlaskState::InKiln, Some("burning")) => FlaskState::InKiln,
        (FlaskState::InKiln | FlaskState::Hot, Some("held")) => FlaskState::Hot,
        _ => {
            return Err(Refused::conflict(format!(
                "The load in which flask {number} stood is no longer as it was, so the flask cannot stand in it again. It stays lost, and its pieces wait for print."
            ))
            .into());
        }
    };
    let wanted = store::pieces_lost(conn, flask.id, lost.lost_at).await?;
    store::found(conn, flask.id, stands).await?;
    if let Some(load) = lost.lost_load_id {
        let under_way = matches!(stands, FlaskState::InKiln | FlaskState::Hot);
        let planned = lost.load_state.as_deref() == Some("planned");
        if under_way || (planned && store::has_room(conn, load, flask.id).await?) {
            store::back_into_load(conn, load, flask.id).await?;
        }
    }
    let subject = format!("flask:{number}");
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&subject);
    pieces::unfail(conn, &wanted, &subject, &act).await?;
    if lost.lost_from == FlaskState::InKiln && stands == FlaskState::Hot {
        // Its load went on without it.
        pieces::record(conn, &wanted, &Happening::Finished(Stage::Burnout), &act).await?;
    }
    if matches!(stands, FlaskState::Mixing | FlaskState::Setting) {
        timers::take_back(conn, &subject, signed.now).await?;
    }
    Ok(())
}
