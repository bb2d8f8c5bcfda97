//! Recording a pour, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::{PourForm, PourResult};
use super::store;
use crate::designs;
use crate::flasks::{self, FlaskState};
use crate::forecasts;
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
        PourResult::Lost => {
            pour.failed.values().next().cloned().or_else(|| Some("pour lost".to_owned()))
        }
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
