//! What is done at the finishing bench, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::PassForm;
use super::store::{self, Ending};
use crate::clock::Moment;
use crate::doubt;
use crate::findings;
use crate::id::PersonId;
use crate::metal::{self, Account, Entry, Kind};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, LockedPiece, Stage, Standing, State};
use crate::web::{Fault, Refused};

fn subject(label: &str) -> String {
    format!("piece:{label}")
}

async fn hold(conn: &mut PgConnection, label: &str, seen: i64) -> Result<LockedPiece, Fault> {
    let piece = pieces::lock_by_label(conn, label).await?;
    piece.seen(seen).map_err(Refused::from)?;
    Ok(piece)
}

/// Begins finishing with the weight after cutting off.
pub(super) async fn begin(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
    raw_cg: i64,
    sure: bool,
) -> Result<(), Fault> {
    let piece = hold(conn, label, seen).await?;
    let material = store::material(conn, piece.id).await?;
    if material.undivested.is_none() && !sure {
        doubt::cut_off(material.model_g, material.poured_cg, raw_cg)?;
    }
    if let Some(flask) = material.undivested {
        return Err(Refused::conflict(format!(
            "Piece {label} is still in flask {flask}. Divest the flask and weigh its castings first."
        ))
        .into());
    }
    let act = Act::new(signed.now, Some(signed.person)).with(json!({ "raw_cg": raw_cg }));
    pieces::record(conn, &[piece.id], &Happening::Entered(Stage::Finish), &act).await?;
    store::begin(conn, material.attempt, raw_cg, signed.now, signed.person).await?;
    Ok(())
}

/// Puts a piece back that was begun by mistake.
pub(super) async fn put_back(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
) -> Result<(), Fault> {
    let piece = hold(conn, label, seen).await?;
    let act = Act::new(signed.now, Some(signed.person));
    pieces::record(conn, &[piece.id], &Happening::Left(Stage::Finish), &act).await?;
    Ok(())
}

/// The piece is finished and passed; what was filed off goes to the filings.
pub(super) async fn pass(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
    form: PassForm,
) -> Result<(), Fault> {
    let piece = hold(conn, label, seen).await?;
    let material = store::material(conn, piece.id).await?;
    if !form.sure {
        doubt::cut_off(material.model_g, material.poured_cg, form.raw_cg)?;
        doubt::finished(material.model_g, form.finished_cg)?;
    }
    let open = findings::not_mended(&mut *conn, material.attempt).await?;
    if !open.is_empty() {
        return Err(Refused::conflict(format!(
            "Piece {label} does not pass while this is not mended: {}. Mark it mended or take it back on the pictures of the piece.",
            open.join(", ")
        ))
        .into());
    }
    let detail = json!({
        "raw_cg": form.raw_cg, "finished_cg": form.finished_cg, "minutes": form.minutes,
    });
    let act = Act::new(signed.now, Some(signed.person)).with(detail);
    pieces::record(conn, &[piece.id], &Happening::Finished(Stage::Finish), &act).await?;
    let ending = Ending {
        passed: true,
        raw_cg: form.raw_cg,
        finished_cg: Some(form.finished_cg),
        minutes: Some(form.minutes),
    };
    store::end(conn, material.attempt, &ending, signed.now, signed.person).await?;
    let subject = subject(label);
    let entry = Entry::new(Kind::Finished, signed.now, Some(signed.person), &subject);
    let filed = form.raw_cg - form.finished_cg;
    metal::leave_bench(conn, &entry, material.alloy_id, Account::Filings, filed).await
}

/// The piece has a defect: its attempt failed, and its metal goes to the returns.
pub(super) async fn defect(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
    cause: &str,
    note: &str,
) -> Result<(), Fault> {
    let piece = hold(conn, label, seen).await?;
    scrap(conn, &piece, signed.now, Some(signed.person)).await?;
    let act = Act::new(signed.now, Some(signed.person)).noting(note);
    let happening = Happening::Failed(Stage::Finish, cause.to_owned());
    pieces::record(conn, &[piece.id], &happening, &act).await?;
    Ok(())
}

/// Books the metal of a piece that is about to fail at finish. One that was not
/// begun has not been weighed by itself; it goes with the returns of its flask. One that
/// was finished before goes with what it weighed then.
pub async fn scrap(
    conn: &mut PgConnection,
    piece: &LockedPiece,
    now: Moment,
    person: Option<PersonId>,
) -> Result<(), Fault> {
    if piece.state().stage != Stage::Finish {
        return Ok(());
    }
    let material = store::material(conn, piece.id).await?;
    let Some(row) = store::find(conn, material.attempt).await? else { return Ok(()) };
    let in_hand = piece.state().standing == Standing::InHand;
    let weighed = if in_hand { row.raw_cg } else { row.finished_cg };
    let Some(cg) = weighed else { return Ok(()) };
    if let Some(person) = person {
        let ending = Ending {
            passed: false,
            raw_cg: row.raw_cg.unwrap_or(cg),
            finished_cg: if in_hand { None } else { row.finished_cg },
            minutes: if in_hand { None } else { row.minutes },
        };
        store::end(conn, material.attempt, &ending, now, person).await?;
    }
    let subject = subject(&piece.label);
    let entry = Entry::new(Kind::Scrapped, now, person, &subject);
    let to = match metal::owner_of(conn, piece.id, cg).await? {
        Some((client, own)) => vec![(Account::Own(client), own), (Account::Returns, cg - own)],
        None => vec![(Account::Returns, cg)],
    };
    metal::leave_bench_to(conn, &entry, material.alloy_id, &to).await
}

/// Hands finished pieces over: the metal in them leaves the house. Every way of handing
/// over goes through here.
pub async fn deliver(
    conn: &mut PgConnection,
    pieces: &[LockedPiece],
    act: &Act<'_>,
) -> Result<(), Fault> {
    for piece in pieces {
        let material = store::material(conn, piece.id).await?;
        let finished = store::find(conn, material.attempt).await?.and_then(|row| row.finished_cg);
        pieces::record(conn, &[piece.id], &Happening::HandedOver, act).await?;
        let subject = subject(&piece.label);
        let entry = Entry::new(Kind::Delivered, act.now, act.person, &subject);
        let cg = finished.unwrap_or(0);
        let to = match metal::owner_of(conn, piece.id, cg).await? {
            Some((client, own)) => {
                vec![(Account::Client(client), own), (Account::Delivered, cg - own)]
            }
            None => vec![(Account::Delivered, cg)],
        };
        metal::leave_bench_to(conn, &entry, material.alloy_id, &to).await?;
    }
    Ok(())
}

pub(super) async fn hand_over(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
) -> Result<(), Fault> {
    let piece = hold(conn, label, seen).await?;
    deliver(conn, &[piece], &Act::new(signed.now, Some(signed.person))).await
}

/// After something at finish was taken back: its entry in the ledger is reversed and its
/// record opened again. `before` is how the piece stood, `after` how it stands now.
pub async fn take_back(
    conn: &mut PgConnection,
    piece: &LockedPiece,
    after: State,
    signed: &Signed,
) -> Result<(), Fault> {
    if after.stage != Stage::Finish {
        return Ok(());
    }
    let attempt = store::material(conn, piece.id).await?.attempt;
    let scrapped = store::find(conn, attempt).await?.is_some_and(|row| row.passed == Some(false));
    let kind = match (piece.state().standing, after.standing) {
        (Standing::HandedOver, _) => Kind::Delivered,
        (Standing::Ready, _) => Kind::Finished,
        (Standing::Waiting, Standing::InHand) => Kind::Scrapped,
        // It had been finished before and waited to be finished again.
        (Standing::Waiting, Standing::Waiting) if scrapped => Kind::Scrapped,
        _ => return Ok(()),
    };
    if kind != Kind::Delivered {
        store::reopen(conn, attempt).await?;
    }
    let entry = store::last_entry(conn, &subject(&piece.label), kind.word()).await?;
    if let Some(entry) = entry {
        let note = "recorded by mistake";
        metal::reverse(conn, entry, signed.now, Some(signed.person), note).await?;
    }
    Ok(())
}
