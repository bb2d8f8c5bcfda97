//! A poured flask is divested and its tree cut off; or that is taken back, and the pour with it.

use serde_json::json;
use sqlx::PgConnection;

use super::actions::expect;
use super::forms::Divesting;
use super::model::FlaskState;
use super::{store, view};
use crate::audit;
use crate::doubt;
use crate::id::FlaskId;
use crate::metal::{self, Account, Entry, Kind, Move};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// Cut off: castings and returns are weighed; the rest of the charge is loss.
pub(super) async fn divest(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    weights: Divesting,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Poured], Some(seen))?;
    let charged = view::charged_cg(conn, flask.id).await?;
    let pieces_cg = (weights.pieces_g * 100.0).round() as i64;
    let returns_cg = (weights.returns_g * 100.0).round() as i64;
    let lost = charged - pieces_cg - returns_cg;
    if lost >= 0 && !weights.sure {
        let models = view::castings_g(conn, flask.id).await?;
        doubt::divested(models, charged, pieces_cg, returns_cg)?;
    }
    if lost < 0 {
        return Err(Refused::input(
            "pieces_g",
            format!(
                "Castings and returns weigh more than the {:.2} g that were poured; check the scale.",
                charged as f64 / 100.0
            ),
        )
        .into());
    }
    let subject = format!("flask:{number}");
    let mut moves = metal::returns_of(conn, flask.id, returns_cg).await?;
    moves.push(Move::new(Account::Cast, Account::Pieces, pieces_cg));
    moves.push(Move::new(Account::Cast, Account::Loss, lost));
    let entry = Entry::new(Kind::Divested, signed.now, Some(signed.person), &subject);
    metal::post(conn, &entry, flask.alloy_id, &moves).await?;
    store::empty(conn, flask.id, signed.now).await?;
    store::set_state(conn, flask.id, FlaskState::Divested).await?;
    timers::end(conn, &subject, signed.now).await?;
    Ok(())
}

/// A flask was not divested, or what was weighed was wrong: its entry in the ledger is posted
/// back and its castings are in it again. Refused once one of them has gone on, or returns of
/// it were melted.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock(conn, number).await?;
    expect(&flask, &[FlaskState::Divested], Some(seen))?;
    let subject = format!("flask:{number}");
    if let Some(label) = view::gone_on(conn, flask.id, &subject).await? {
        return Err(Refused::conflict(format!(
            "Piece {label} has gone on from flask {number}, so the flask stays divested. Take back first what was done to the piece."
        ))
        .into());
    }
    if view::returns_melted(conn, flask.id).await? {
        return Err(Refused::conflict(format!(
            "Returns of flask {number} have been melted since, so the flask stays divested. Take that melt back first."
        ))
        .into());
    }
    if let Some(entry) = metal::standing_entry(conn, &subject, Kind::Divested).await? {
        let note = "divested by mistake";
        metal::reverse(conn, entry, signed.now, Some(signed.person), note).await?;
    }
    store::refill(conn, flask.id, &subject).await?;
    store::set_state(conn, flask.id, FlaskState::Poured).await?;
    let detail = json!({ "flask": number });
    audit::note(conn, signed.now, Some(signed.person), "divesting taken back", &subject, detail)
        .await?;
    Ok(())
}

/// A flask was not poured: its castings wait for cast in it again, and it is hot. The caller
/// posts the metal back and sees to the load. Refused when one of them has gone on.
pub async fn unpour(
    conn: &mut PgConnection,
    signed: &Signed,
    flask: FlaskId,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let held = store::lock(conn, number).await?;
    expect(&held, &[FlaskState::Poured], Some(seen))?;
    let subject = format!("flask:{number}");
    let wanted = view::cast_in(conn, flask, &subject).await?;
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&subject);
    pieces::reopen(conn, &wanted, Stage::Cast, &subject, &act).await?;
    pieces::record(conn, &wanted, &Happening::Left(Stage::Cast), &act).await?;
    store::set_state(conn, flask, FlaskState::Hot).await?;
    timers::end(conn, &subject, signed.now).await?;
    Ok(())
}
