//! What is done to cure batches, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::BatchForm;
use super::model::{CURE, CureState, WASH};
use super::store::{self, Chosen, HeldPiece, LockedBatch};
use crate::audit;
use crate::doubt;
use crate::id::{AttemptId, CureBatchId, PieceId};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// What is recorded with the pieces, and what a batch's clocks belong to.
pub(super) fn batch(number: i32) -> String {
    format!("cure:{number}")
}

/// Holds a batch, if it stands as it must and is as the person saw it.
async fn lock(
    conn: &mut PgConnection,
    number: i32,
    seen: i64,
    states: &[CureState],
) -> Result<LockedBatch, Fault> {
    let held = store::lock(conn, number).await?;
    if !states.contains(&held.state) {
        return Err(Refused::gone_on(&format!("Cure batch {number}"), held.state.words()).into());
    }
    if held.version != seen {
        return Err(Refused::stale(&format!("cure batch {number}")).into());
    }
    Ok(held)
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

pub(super) async fn create(
    conn: &mut PgConnection,
    signed: &Signed,
    form: &BatchForm,
    attempts: &[AttemptId],
) -> Result<i32, Fault> {
    let held = store::hold(conn, attempts).await?;
    if held.len() != attempts.len() {
        return Err(Fault::NotFound);
    }
    let gone: Vec<String> = held
        .iter()
        .filter_map(|piece| match (piece.waits, piece.batch) {
            (false, _) => Some(format!("{} no longer waits for cure", piece.label)),
            (true, Some(batch)) => Some(format!("{} is in cure batch {batch}", piece.label)),
            (true, None) => None,
        })
        .collect();
    if !gone.is_empty() {
        let message =
            format!("{}. Nothing was changed; leave these out and try again.", gone.join("; "));
        return Err(Refused::conflict(message).at("pieces").into());
    }
    let (wash, cure) = store::minutes_of_resins(conn, attempts).await?;
    let unknown = |field| {
        Refused::input(field, "The resin of these pieces is not known, so the minutes are needed.")
    };
    let chosen = Chosen {
        wash: &form.wash,
        wash_minutes: form.wash_minutes.or(wash).ok_or_else(|| unknown("wash_minutes"))?,
        medium: &form.medium,
        cure_minutes: form.cure_minutes.or(cure).ok_or_else(|| unknown("cure_minutes"))?,
        note: &form.note,
    };
    let id = CureBatchId::new();
    let number = store::insert(conn, id, &chosen, signed.now).await?;
    store::put_in(conn, id, attempts).await?;
    note(conn, signed, "put together", number, held.len()).await?;
    Ok(number)
}

pub(super) async fn take_out(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    attempt: AttemptId,
) -> Result<(), Fault> {
    let held = lock(conn, number, seen, &[CureState::Open]).await?;
    if !store::take_out(conn, held.id, attempt, signed.now).await? {
        return Err(Refused::stale(&format!("cure batch {number}")).into());
    }
    store::move_on(conn, held.id, CureState::Open, None).await?;
    note(conn, signed, "taken out", number, 1).await
}

fn ids(held: &[HeldPiece]) -> Vec<PieceId> {
    held.iter().map(|piece| piece.piece).collect()
}

/// Begins with the wash, or with the cure where nothing is washed.
pub(super) async fn begin(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let held = lock(conn, number, seen, &[CureState::Open]).await?;
    let pieces = store::hold_in_batch(conn, held.id).await?;
    if pieces.is_empty() {
        return Err(Refused::conflict("No piece is in this batch; cancel it.").into());
    }
    let batch = batch(number);
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    pieces::record(conn, &ids(&pieces), &Happening::Entered(Stage::Cure), &act).await?;
    if held.wash_minutes > 0 {
        store::move_on(conn, held.id, CureState::Washing, None).await?;
        timers::start(conn, &batch, WASH, signed.now, f64::from(held.wash_minutes)).await?;
    } else {
        store::move_on(conn, held.id, CureState::Curing, None).await?;
        timers::start(conn, &batch, CURE, signed.now, f64::from(held.cure_minutes)).await?;
    }
    note(conn, signed, "begun", number, pieces.len()).await
}

/// The wash is over and the cure begins.
pub(super) async fn washed(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    sure: bool,
) -> Result<(), Fault> {
    let held = lock(conn, number, seen, &[CureState::Washing]).await?;
    let batch = batch(number);
    if let Some(clock) = timers::clock(conn, &batch, WASH).await?
        && !sure
    {
        let why = "resin that is not washed off cures on the pattern and blurs it";
        doubt::over(clock, signed.now, "wash", why, "Is it really washed?")?;
    }
    timers::end(conn, &batch, signed.now).await?;
    timers::start(conn, &batch, CURE, signed.now, f64::from(held.cure_minutes)).await?;
    store::move_on(conn, held.id, CureState::Curing, None).await?;
    note(conn, signed, "washed", number, 0).await
}

/// Finishes a batch: those in `failed` did not come out, all others did.
pub(super) async fn finish(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    failed: &[(AttemptId, String)],
    sure: bool,
) -> Result<(), Fault> {
    let held = lock(conn, number, seen, &[CureState::Curing]).await?;
    let pieces = store::hold_in_batch(conn, held.id).await?;
    let batch = batch(number);
    let clock = timers::clock(conn, &batch, CURE).await?;
    // What all failed may have been taken out early.
    if let Some(clock) = clock
        && !sure
        && failed.len() < pieces.len()
    {
        let why = "a pattern that is not cured through swells in the investment and leaves ash";
        doubt::over(clock, signed.now, "cure", why, "Is it really cured?")?;
    }
    let act = Act::new(signed.now, Some(signed.person))
        .in_batch(&batch)
        .with(timers::as_timed(clock, signed.now));
    let mut good = Vec::new();
    for piece in &pieces {
        match failed.iter().find(|(attempt, _)| *attempt == piece.attempt) {
            Some((_, cause)) => {
                let happening = Happening::Failed(Stage::Cure, cause.clone());
                pieces::record(conn, &[piece.piece], &happening, &act).await?;
            }
            None => good.push(piece.piece),
        }
    }
    pieces::record(conn, &good, &Happening::Finished(Stage::Cure), &act).await?;
    store::clear(conn, held.id, signed.now).await?;
    store::move_on(conn, held.id, CureState::Done, Some(signed.now)).await?;
    timers::end(conn, &batch, signed.now).await?;
    note(conn, signed, "finished", number, pieces.len()).await
}

/// Cancels a batch, begun or not: its pieces wait for cure again.
pub(super) async fn cancel(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let states = [CureState::Open, CureState::Washing, CureState::Curing];
    let held = lock(conn, number, seen, &states).await?;
    let pieces = store::hold_in_batch(conn, held.id).await?;
    let batch = batch(number);
    if held.state.is_under_way() {
        let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
        pieces::record(conn, &ids(&pieces), &Happening::Left(Stage::Cure), &act).await?;
    }
    store::clear(conn, held.id, signed.now).await?;
    store::move_on(conn, held.id, CureState::Cancelled, Some(signed.now)).await?;
    timers::end(conn, &batch, signed.now).await?;
    note(conn, signed, "cancelled", number, pieces.len()).await
}

/// Takes back what was recorded last by mistake: that the batch is cured, washed, or begun.
/// Refused once a pattern has gone on.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let states = [CureState::Washing, CureState::Curing, CureState::Done];
    let held = lock(conn, number, seen, &states).await?;
    let batch = batch(number);
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    let pieces = match held.state {
        CureState::Done => {
            let back = store::reopen(conn, held.id).await?;
            pieces::reopen(conn, &back, Stage::Cure, &batch, &act).await?;
            timers::take_back(conn, &batch, signed.now).await?;
            back.len()
        }
        CureState::Curing if held.wash_minutes > 0 => {
            timers::take_back(conn, &batch, signed.now).await?;
            store::move_on(conn, held.id, CureState::Washing, None).await?;
            0
        }
        _ => {
            let inside = store::hold_in_batch(conn, held.id).await?;
            pieces::record(conn, &ids(&inside), &Happening::Left(Stage::Cure), &act).await?;
            timers::end(conn, &batch, signed.now).await?;
            store::move_on(conn, held.id, CureState::Open, None).await?;
            inside.len()
        }
    };
    note(conn, signed, "taken back", number, pieces).await
}
