//! What is done to plates, inside the caller's transaction.

use serde_json::json;
use sqlx::{PgConnection, PgPool};
use tokio::sync::Semaphore;

use super::forms::{Noted, SettingForm};
use super::model::{self, Model, PlateState, Proposal, Setting};
use super::store::{self, Chosen, HeldPiece, LockedPlate};
use crate::audit;
use crate::designs;
use crate::doubt;
use crate::findings::{self, NewFinding};
use crate::id::{AttemptId, PieceId, PlateId};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// What is recorded with the pieces, and what a plate's clock belongs to.
pub(super) fn batch(number: i32) -> String {
    format!("plate:{number}")
}

/// Holds a plate, if it stands as it must and is as the person saw it.
async fn lock(
    conn: &mut PgConnection,
    number: i32,
    seen: i64,
    states: &[PlateState],
) -> Result<LockedPlate, Fault> {
    let plate = store::lock(conn, number).await?;
    if !states.contains(&plate.state) {
        return Err(Refused::gone_on(&format!("Plate {number}"), plate.state.words()).into());
    }
    if plate.version != seen {
        return Err(Refused::stale(&format!("plate {number}")).into());
    }
    Ok(plate)
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    number: i32,
    pieces: usize,
) -> Result<(), Fault> {
    let detail = json!({ "pieces": pieces });
    audit::note(conn, signed.now, Some(signed.person), action, &batch(number), detail).await?;
    Ok(())
}

async fn choose<'a>(conn: &mut PgConnection, form: &'a SettingForm) -> Result<Chosen<'a>, Fault> {
    let usual = match form.profile {
        Some(profile) => {
            store::profile_of(conn, profile, form.printer).await?.ok_or_else(|| {
                Refused::input(
                    "profile",
                    "This profile belongs to another printer, or is out of use.",
                )
            })?
        }
        None => store::usual_of(conn, form.printer).await?.ok_or_else(|| {
            Refused::input("printer", "This printer is out of use; choose another.")
        })?,
    };
    if !store::lot_is_open(conn, form.lot).await? {
        return Err(Refused::input("lot", "This bottle is used up; choose another.").into());
    }
    Ok(Chosen {
        printer: form.printer,
        lot: form.lot,
        profile: form.profile,
        setting: store::Usual {
            layer_um: form.layer_um.unwrap_or(usual.layer_um),
            exposure_s: form.exposure_s.unwrap_or(usual.exposure_s),
            ..usual
        },
        supports: &form.supports,
        any_side: form.any_side,
        first_contact: form.first_contact,
        orientation: &form.orientation,
        note: &form.note,
    })
}

/// Holds pieces that are to be put on, all of which must wait for print.
async fn hold_waiting(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
) -> Result<Vec<HeldPiece>, Fault> {
    let held = store::hold(conn, attempts).await?;
    if held.len() != attempts.len() {
        return Err(Fault::NotFound);
    }
    let gone: Vec<String> = held
        .iter()
        .filter_map(|piece| match (piece.waits, piece.plate) {
            (false, _) => Some(format!("{} no longer waits for print", piece.label())),
            (true, Some(plate)) => Some(format!("{} is on plate {plate}", piece.label())),
            (true, None) => None,
        })
        .collect();
    if gone.is_empty() {
        return Ok(held);
    }
    Err(Refused::conflict(format!(
        "{}. Nothing was changed; leave these out and try again.",
        gone.join("; ")
    ))
    .at("pieces")
    .into())
}

async fn set_out(
    pool: &PgPool,
    conn: &mut PgConnection,
    plate: PlateId,
    held: &[HeldPiece],
) -> Result<(), Fault> {
    let setting = store::setting_of(conn, plate).await?;
    let models: Vec<_> = held.iter().map(HeldPiece::model).collect();
    let proposal = propose(pool, setting.clone(), models).await?;
    let places = proposal.on_one_plate(&setting)?;
    store::place(conn, plate, &places).await?;
    Ok(())
}

/// Packs pieces on as many plates as they need, away from the threads that answer requests.
pub(super) async fn propose(
    pool: &PgPool,
    setting: Setting,
    pieces: Vec<Model>,
) -> Result<Proposal, Fault> {
    let versions: Vec<_> = pieces.iter().map(|piece| piece.version).collect();
    let shapes = designs::shapes(pool, &versions).await?;
    let _turn = PACKING.acquire().await.map_err(|closed| Fault::Unforeseen(closed.into()))?;
    let packed = tokio::task::spawn_blocking(move || model::propose(&setting, &pieces, &shapes));
    Ok(packed.await.map_err(|broken| Fault::Unforeseen(broken.into()))??)
}

/// Packing takes a core for a second or so; all at once would leave none for pages.
static PACKING: Semaphore = Semaphore::const_new(2);

pub(super) async fn create(
    pool: &PgPool,
    conn: &mut PgConnection,
    signed: &Signed,
    form: &SettingForm,
    attempts: &[AttemptId],
) -> Result<i32, Fault> {
    let chosen = choose(conn, form).await?;
    let id = PlateId::new();
    let number = store::insert(conn, id, &chosen, signed.now).await?;
    let held = hold_waiting(conn, attempts).await?;
    set_out(pool, conn, id, &held).await?;
    note(conn, signed, "laid out", number, held.len()).await?;
    Ok(number)
}

pub(super) async fn settings(
    pool: &PgPool,
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    form: &SettingForm,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Open]).await?;
    let chosen = choose(conn, form).await?;
    store::set(conn, plate.id, &chosen).await?;
    let held = store::hold_on_plate(conn, plate.id).await?;
    set_out(pool, conn, plate.id, &held).await?;
    note(conn, signed, "changed", number, held.len()).await
}

pub(super) async fn add(
    pool: &PgPool,
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    attempts: &[AttemptId],
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Open]).await?;
    let mut held = store::hold_on_plate(conn, plate.id).await?;
    held.extend(hold_waiting(conn, attempts).await?);
    set_out(pool, conn, plate.id, &held).await?;
    store::touch(conn, plate.id).await?;
    note(conn, signed, "added to", number, attempts.len()).await
}

pub(super) async fn take_off(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    attempt: AttemptId,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Open]).await?;
    if !store::take_off(conn, plate.id, attempt, signed.now).await? {
        return Err(Refused::stale(&format!("plate {number}")).into());
    }
    store::touch(conn, plate.id).await?;
    note(conn, signed, "taken off", number, 1).await
}

fn ids(held: &[HeldPiece]) -> Vec<PieceId> {
    held.iter().map(|piece| piece.piece).collect()
}

pub(super) async fn start(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Open]).await?;
    let held = store::hold_on_plate(conn, plate.id).await?;
    if held.is_empty() {
        return Err(
            Refused::conflict("Nothing stands on this plate; put pieces on it first.").into()
        );
    }
    let setting = store::setting_of(conn, plate.id).await?;
    let models: Vec<_> = held.iter().map(HeldPiece::model).collect();
    let reckoned = model::reckon(&setting, &models);
    let minutes = reckoned.minutes();
    store::start(conn, plate.id, signed.now, minutes, reckoned.resin_ml()).await?;
    let batch = batch(number);
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    pieces::record(conn, &ids(&held), &Happening::Entered(Stage::Print), &act).await?;
    if let Some(minutes) = minutes {
        timers::start(conn, &batch, "Print", signed.now, minutes).await?;
    }
    note(conn, signed, "started", number, held.len()).await
}

/// Finishes a plate: those in `failed` did not come out, all others did; `noted` is what was
/// found on them.
pub(super) async fn finish(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    failed: &[(AttemptId, String)],
    noted: &[Noted],
    sure: bool,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Printing]).await?;
    let held = store::hold_on_plate(conn, plate.id).await?;
    let clock = timers::clock(conn, &batch(number), "Print").await?;
    for found in noted {
        if !held.iter().any(|piece| piece.attempt() == found.attempt) {
            continue;
        }
        let finding = NewFinding {
            attempt: found.attempt,
            stage: Stage::Print,
            what: &found.what,
            place: &found.place,
            pointed: None,
            to_mend: found.to_mend,
        };
        findings::add(conn, finding, signed.now, signed.person).await?;
    }
    let batch = batch(number);
    let act = Act::new(signed.now, Some(signed.person))
        .in_batch(&batch)
        .with(timers::as_timed(clock, signed.now));
    let mut good = Vec::new();
    for piece in &held {
        match failed.iter().find(|(attempt, _)| *attempt == piece.attempt()) {
            Some((_, cause)) => {
                let happening = Happening::Failed(Stage::Print, cause.clone());
                pieces::record(conn, &[piece.piece], &happening, &act).await?;
            }
            None => good.push(piece.piece),
        }
    }
    pieces::record(conn, &good, &Happening::Finished(Stage::Print), &act).await?;
    // Asked last, when nothing else stands in the way. A print in which all failed may have been
    // stopped early.
    if let Some(clock) = clock
        && !sure
        && failed.len() < held.len()
    {
        let why = "what comes off the plate now is not printed to its top";
        doubt::over(clock, signed.now, "print", why, "Is it really done?")?;
    }
    store::clear(conn, plate.id, signed.now).await?;
    store::end(conn, plate.id, PlateState::Done, 1.0, signed.now).await?;
    timers::end(conn, &batch, signed.now).await?;
    note(conn, signed, "finished", number, held.len()).await
}

/// Cancels a plate that is laid out, or stops one that is printing: its pieces wait
/// for print again, and the resin of what was printed by then is gone.
pub(super) async fn cancel(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Open, PlateState::Printing]).await?;
    let held = store::hold_on_plate(conn, plate.id).await?;
    let batch = batch(number);
    if plate.state == PlateState::Printing {
        let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
        pieces::record(conn, &ids(&held), &Happening::Left(Stage::Print), &act).await?;
    }
    store::clear(conn, plate.id, signed.now).await?;
    store::end(conn, plate.id, PlateState::Cancelled, printed(&plate, signed), signed.now).await?;
    timers::end(conn, &batch, signed.now).await?;
    note(conn, signed, "cancelled", number, held.len()).await
}

/// Takes back what was recorded last by mistake: that the plate is done, or that it was
/// started. Refused once a piece has gone on.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let plate = lock(conn, number, seen, &[PlateState::Printing, PlateState::Done]).await?;
    let batch = batch(number);
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    let pieces = if plate.state == PlateState::Printing {
        let held = store::hold_on_plate(conn, plate.id).await?;
        pieces::record(conn, &ids(&held), &Happening::Left(Stage::Print), &act).await?;
        store::unstart(conn, plate.id).await?;
        timers::end(conn, &batch, signed.now).await?;
        held.len()
    } else {
        if let Some((label, cure)) = store::gone_to_cure(conn, plate.id).await? {
            return Err(Refused::conflict(format!(
                "Piece {label} is in cure batch {cure} already, so plate {number} stays done. Take it out there first."
            ))
            .into());
        }
        let back = store::reopen(conn, plate.id).await?;
        pieces::reopen(conn, &back, Stage::Print, &batch, &act).await?;
        timers::take_back(conn, &batch, signed.now).await?;
        back.len()
    };
    note(conn, signed, "taken back", number, pieces).await
}

/// The share of a run that was printed when it was stopped.
fn printed(plate: &LockedPlate, signed: &Signed) -> f64 {
    match (plate.started_at, plate.estimated_min) {
        (Some(started), Some(minutes)) if minutes > 0.0 => {
            (signed.now.seconds_since(started) as f64 / 60.0 / minutes).clamp(0.0, 1.0)
        }
        _ => 1.0,
    }
}
