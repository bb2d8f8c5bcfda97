//! Recording a pour, correcting it and taking it back, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::{PourForm, PourResult, Weights};
use super::store::{self, Poured};
use crate::audit;
use crate::designs;
use crate::doubt;
use crate::flasks::{self, FlaskState};
use crate::forecasts;
use crate::id::{MetalLotId, PourId};
use crate::kiln_loads;
use crate::metal::{self, Account, Entry, Kind, Move};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// A flask is poured: metal moves, its pieces are cast or fail, its load ends with the last pour.
pub(super) async fn pour(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    pour: &PourForm,
) -> Result<(), Fault> {
    let flask = store::lock_flask(conn, number).await?;
    let Some(load) = flask.load else {
        return Err(Refused::conflict(format!(
            "Flask {number} stands in no kiln, so it cannot be poured. A pour needs a flask that is hot."
        ))
        .into());
    };
    let poured = store::insert(conn, flask.id, load, pour, signed.person, signed.now).await?;
    // Asked once it is sure that the flask can be poured.
    if !pour.sure {
        let own_cg = pour.own.map_or(0, |(_, cg)| cg);
        doubt::poured(flask.charge_g, pour.fresh_cg + pour.returns_cg + own_cg)?;
    }
    let batch = format!("flask:{number}");
    let entry = Entry {
        note: &pour.note,
        ..Entry::new(Kind::Poured, signed.now, Some(signed.person), &batch)
    };
    let mut moves = vec![
        Move::new(Account::Fresh, Account::Cast, pour.fresh_cg),
        Move::new(Account::Returns, Account::Cast, pour.returns_cg),
    ];
    if let Some((client, cg)) = pour.own {
        moves.push(Move::new(Account::Own(client), Account::Cast, cg));
    }
    let posted = metal::post(conn, &entry, flask.alloy_id, &moves).await?;
    store::note_metal(conn, poured, posted).await?;
    let (alloy, lots) = (flask.alloy_id, &pour.lots);
    metal::take_fresh(conn, posted, alloy, pour.fresh_cg, &lots.fresh).await?;
    metal::take_returns(conn, posted, alloy, pour.returns_cg, &lots.returns).await?;

    let all = flasks::pieces_of(conn, flask.id).await?;
    // What is forecast of its castings is kept before anybody sees them.
    for (version, attempts) in store::versions_in(conn, flask.id).await? {
        let said = designs::said_of(conn, version, flask.alloy_id).await?;
        forecasts::keep(conn, &attempts, version, &said, signed.now).await?;
    }
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch).with(json!({
        "melt_c": pour.melt_c, "flask_c": pour.flask_c, "fresh_cg": pour.fresh_cg, "returns_cg": pour.returns_cg,
        "own_cg": pour.own.map_or(0, |(_, cg)| cg),
    }));
    pieces::record(conn, &all, &Happening::Entered(Stage::Cast), &act).await?;
    let lost_for = |piece: &crate::id::PieceId| match pour.result {
        PourResult::Lost => Some(pour.cause.clone()),
        _ => pour.failed.get(piece).cloned(),
    };
    let mut good = Vec::new();
    for piece in all {
        match lost_for(&piece) {
            Some(cause) => {
                pieces::record(conn, &[piece], &Happening::Failed(Stage::Cast, cause), &act)
                    .await?;
            }
            None => good.push(piece),
        }
    }
    pieces::record(conn, &good, &Happening::Finished(Stage::Cast), &act).await?;
    flasks::move_on(conn, &[flask.id], FlaskState::Hot, FlaskState::Poured, signed.now).await?;
    if let Some(minutes) = pour.quench_min.filter(|minutes| *minutes > 0) {
        timers::start(conn, &batch, "quench", signed.now, minutes as f64).await?;
    }
    kiln_loads::end_when_empty(conn, load, signed.now).await
}

/// The flask was not poured: its metal is posted back, its pieces wait for cast in it again, and
/// its load holds it again. What was recorded is kept in the audit.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let flask = store::lock_flask(conn, number).await?;
    let poured = store::poured(conn, number).await?;
    flasks::unpour(conn, signed, flask.id, number, seen).await?;
    kiln_loads::hold_again(conn, poured.kiln_load_id, flask.id, number).await?;
    post_back(conn, signed, &poured, "poured by mistake").await?;
    if !store::delete(conn, poured.id).await? {
        return Err(Refused::conflict(format!(
            "Returns of flask {number} were melted once, so its pour has to stay in the ledger. Correct its weights instead."
        ))
        .into());
    }
    note(conn, signed, "pour taken back", number, &poured).await
}

/// The weights of a pour were wrong: its metal is posted back and posted anew. A single lot that
/// was taken from stays where it has enough; else the oldest come first again.
pub(super) async fn correct(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    weights: Weights,
) -> Result<(), Fault> {
    let flask = store::lock_flask(conn, number).await?;
    let poured = store::poured(conn, number).await?;
    if flask.state != FlaskState::Poured {
        return Err(Refused::conflict(format!(
            "Flask {number} is {}, so the weights of its pour stand. Take the divesting back first.",
            flask.state.words()
        ))
        .into());
    }
    if flask.version != seen {
        return Err(Refused::stale(&format!("flask {number}")).into());
    }
    if weights.own_cg > 0 && poured.own_client_id.is_none() {
        return Err(Refused::input(
            "was_own_g",
            "No client's own metal was poured. Take the pour back and record it anew with whose it is.",
        )
        .into());
    }
    if !weights.sure {
        let together = weights.fresh_cg + weights.returns_cg + weights.own_cg;
        doubt::poured(flask.charge_g, together)?;
    }
    let chosen = match poured.metal_batch_id {
        Some(entry) => store::single_lots(conn, entry).await?,
        None => Default::default(),
    };
    post_back(conn, signed, &poured, "weights corrected").await?;
    let batch = format!("flask:{number}");
    let entry = Entry {
        note: "weights corrected",
        ..Entry::new(Kind::Poured, signed.now, Some(signed.person), &batch)
    };
    let mut moves = vec![
        Move::new(Account::Fresh, Account::Cast, weights.fresh_cg),
        Move::new(Account::Returns, Account::Cast, weights.returns_cg),
    ];
    if let Some(client) = poured.own_client_id {
        moves.push(Move::new(Account::Own(client), Account::Cast, weights.own_cg));
    }
    let alloy = flask.alloy_id;
    let posted = metal::post(conn, &entry, alloy, &moves).await?;
    let lots = metal::lots_left(&mut *conn, alloy).await?;
    let bags = metal::returns_left(&mut *conn, alloy).await?;
    let (fresh, returns) = chosen;
    let enough = |lot: &MetalLotId| {
        lots.iter().any(|left| left.id == *lot && left.left_cg >= weights.fresh_cg)
    };
    let in_bag = |of: &PourId| {
        bags.iter().any(|left| left.pour_id == *of && left.left_cg >= weights.returns_cg)
    };
    let fresh: Vec<_> =
        fresh.filter(enough).map(|lot| (lot, weights.fresh_cg)).into_iter().collect();
    let returns: Vec<_> =
        returns.filter(in_bag).map(|of| (of, weights.returns_cg)).into_iter().collect();
    metal::take_fresh(conn, posted, alloy, weights.fresh_cg, &fresh).await?;
    metal::take_returns(conn, posted, alloy, weights.returns_cg, &returns).await?;
    store::set_weights(conn, poured.id, weights, posted).await?;
    note(conn, signed, "weights of a pour corrected", number, &poured).await
}

/// Posts the metal of a pour back, unless somebody has done so in the ledger already.
async fn post_back(
    conn: &mut PgConnection,
    signed: &Signed,
    poured: &Poured,
    why: &str,
) -> Result<(), Fault> {
    let Some(entry) = poured.metal_batch_id.filter(|_| poured.stands) else { return Ok(()) };
    metal::reverse(conn, entry, signed.now, Some(signed.person), why).await?;
    Ok(())
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    number: i32,
    poured: &Poured,
) -> Result<(), Fault> {
    let detail = serde_json::to_value(&poured.kept)?;
    let batch = format!("flask:{number}");
    audit::note(conn, signed.now, Some(signed.person), action, &batch, detail).await?;
    Ok(())
}
