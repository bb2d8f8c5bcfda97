//! What is done to metal by hand, inside the caller's transaction.

use std::collections::BTreeSet;

use sqlx::PgConnection;

use super::forms::{BuyForm, Counted, MeltForm, RefineForm, RefinedForm, StockTake};
use super::ledger::{self, Entry};
use super::model::{Account, Kind, Move, in_grams};
use super::{lots, melt, stock, store};
use crate::clock::Moment;
use crate::id::{AlloyId, MetalBatchId, MetalLotId};
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// Bought metal comes into stock as fresh metal.
pub(super) async fn buy(
    conn: &mut PgConnection,
    signed: &Signed,
    bought: &BuyForm,
) -> Result<MetalBatchId, Fault> {
    if !store::alloy_known(conn, bought.alloy).await? {
        return Err(
            Refused::input("alloy", "There is no such alloy any more; choose another.").into()
        );
    }
    let Some(lot) = store::insert_lot(conn, bought).await? else {
        let words = "This lot of the alloy is already in the ledger; check its number.";
        return Err(Refused::conflict(words).at("lot").into());
    };
    let subject = format!("lot:{}", bought.lot);
    let entry = Entry {
        note: &bought.note,
        lot: Some(lot),
        ..Entry::new(Kind::Bought, came(signed, bought), Some(signed.person), &subject)
    };
    let moves = [Move::new(Account::Supplier, Account::Fresh, bought.cg)];
    ledger::post(conn, &entry, bought.alloy, &moves).await
}

/// When metal that is noted for a day came: now, or at the end of an earlier day.
fn came(signed: &Signed, bought: &BuyForm) -> Moment {
    let zone = &signed.frame.show.zone;
    signed.now.min(bought.bought_on.plus_days(1).start_in(zone).plus_seconds(-1))
}

/// What the scale shows takes the place of what the ledger thought; the difference is posted as such.
pub(super) async fn count(
    conn: &mut PgConnection,
    signed: &Signed,
    alloy: AlloyId,
    counted: &[Counted],
    note: &str,
) -> Result<MetalBatchId, Fault> {
    ledger::lock(conn, alloy).await?;
    let mut moves = Vec::new();
    for each in counted {
        let held = ledger::held(&mut *conn, alloy, each.account).await?;
        if held != each.seen_cg {
            return Err(Refused::conflict(
                "Metal moved while you were counting. Nothing was posted; look at what there is now and count once more.",
            )
            .into());
        }
        let found = each.counted_cg - held;
        moves.push(if found > 0 {
            Move::new(Account::Difference, each.account, found)
        } else {
            Move::new(each.account, Account::Difference, -found)
        });
    }
    let subject = format!("alloy:{alloy}");
    let entry =
        Entry { note, ..Entry::new(Kind::Counted, signed.now, Some(signed.person), &subject) };
    let batch = ledger::post(conn, &entry, alloy, &moves).await?;
    // What is missing is missing of the oldest.
    for each in moves.iter().filter(|each| each.to == Account::Difference) {
        match each.from {
            Account::Fresh => lots::take_fresh(conn, batch, alloy, each.cg, &[]).await?,
            Account::Returns => lots::take_returns(conn, batch, alloy, each.cg, &[]).await?,
            _ => {}
        }
    }
    Ok(batch)
}

/// Several alloys are counted at once, each with an entry of its own; all of it or nothing.
pub(super) async fn count_all(
    conn: &mut PgConnection,
    signed: &Signed,
    take: &StockTake,
) -> Result<(), Fault> {
    let mut order: Vec<_> = take.counted.iter().collect();
    // In one order, so that two stock takes wait for each other and never for ever.
    order.sort_by_key(|(alloy, _)| *alloy);
    for (alloy, counted) in order {
        count(conn, signed, *alloy, counted, &take.note).await?;
    }
    Ok(())
}

/// Filings or spoilt returns go to the refiner.
pub(super) async fn refine(
    conn: &mut PgConnection,
    signed: &Signed,
    alloy: AlloyId,
    sent: &RefineForm,
) -> Result<MetalBatchId, Fault> {
    let subject = format!("alloy:{alloy}");
    let entry = Entry {
        note: &sent.note,
        ..Entry::new(Kind::Refined, signed.now, Some(signed.person), &subject)
    };
    let moves = [Move::new(sent.from, Account::Refiner, sent.cg)];
    let batch = ledger::post(conn, &entry, alloy, &moves).await?;
    if sent.from == Account::Returns {
        lots::take_returns(conn, batch, alloy, sent.cg, &[]).await?;
    }
    Ok(batch)
}

/// Metal is melted into another alloy; what the scale misses afterwards is loss of that alloy.
pub(super) async fn melt(
    conn: &mut PgConnection,
    signed: &Signed,
    melted: &MeltForm,
) -> Result<MetalBatchId, Fault> {
    let stock = stock::stocked(&mut *conn).await?;
    let find = |id: AlloyId| {
        stock.iter().find(|alloy| alloy.id == id).ok_or_else(|| {
            Fault::from(Refused::conflict("There is no such alloy any more; choose another."))
        })
    };
    let (alloy, with, into) = (find(melted.alloy)?, find(melted.with)?, find(melted.into)?);
    melt::fine_enough(&[(alloy, melted.cg), (with, melted.add_cg)], into)
        .map_err(|refusal| Refused::conflict(refusal.0))?;
    let subject = format!("alloy:{}", into.id);
    // In one order, so that two melts wait for each other and never for ever.
    for each in BTreeSet::from([alloy.id, with.id, into.id]) {
        ledger::lock(conn, each).await?;
    }
    let made = came_in(conn, signed, into.id, ("melted", "melt of"), melted.after_cg).await?;
    let entry = Entry {
        note: &melted.note,
        lot: made,
        ..Entry::new(Kind::Melted, signed.now, Some(signed.person), &subject)
    };
    let lost = melted.cg + melted.add_cg - melted.after_cg;
    let moves = [
        (alloy.id, Move::new(melted.account, Account::Melted, melted.cg)),
        (with.id, Move::new(Account::Fresh, Account::Melted, melted.add_cg)),
        (into.id, Move::new(Account::Melted, Account::Fresh, melted.after_cg)),
        (into.id, Move::new(Account::Melted, Account::Loss, lost)),
    ];
    let batch = ledger::post_all(conn, &entry, &moves).await?;
    match melted.account {
        Account::Returns => {
            lots::take_returns(conn, batch, alloy.id, melted.cg, &[]).await?;
            lots::take_fresh(conn, batch, with.id, melted.add_cg, &[]).await?;
        }
        _ if alloy.id == with.id => {
            let both = melted.cg + melted.add_cg;
            lots::take_fresh(conn, batch, alloy.id, both, &[]).await?;
        }
        _ => {
            lots::take_fresh(conn, batch, alloy.id, melted.cg, &[]).await?;
            lots::take_fresh(conn, batch, with.id, melted.add_cg, &[]).await?;
        }
    }
    Ok(batch)
}

/// Metal that comes into stock otherwise than bought, as a lot of its own; none of nothing.
async fn came_in(
    conn: &mut PgConnection,
    signed: &Signed,
    alloy: AlloyId,
    (origin, name): (&'static str, &str),
    cg: i64,
) -> Result<Option<MetalLotId>, sqlx::Error> {
    if cg <= 0 {
        return Ok(None);
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    let name = format!("{name} {today}");
    lots::make(conn, alloy, (origin, &name), cg, today).await.map(Some)
}

/// The refiner settles some of what was sent: metal comes back, as this alloy or another, and
/// the rest is lost in refining or kept as the refiner's charge.
pub(super) async fn refined(
    conn: &mut PgConnection,
    signed: &Signed,
    alloy: AlloyId,
    back: &RefinedForm,
) -> Result<MetalBatchId, Fault> {
    for each in BTreeSet::from([alloy, back.into]) {
        ledger::lock(conn, each).await?;
    }
    let there = ledger::held(&mut *conn, alloy, Account::Refiner).await?;
    if back.settled_cg > there {
        return Err(Refused::conflict(format!(
            "Only {} g of it are with the refiner, and {} g were to be settled. Nothing was posted.",
            in_grams(there),
            in_grams(back.settled_cg)
        ))
        .at("settled")
        .into());
    }
    let subject = format!("alloy:{alloy}");
    let made = came_in(conn, signed, back.into, ("refined", "refined"), back.came_cg).await?;
    let entry = Entry {
        note: &back.note,
        lot: made,
        ..Entry::new(Kind::Refined, signed.now, Some(signed.person), &subject)
    };
    let lost = Move::new(Account::Refiner, Account::Loss, back.settled_cg - back.came_cg);
    let moves = if back.into == alloy {
        vec![(alloy, Move::new(Account::Refiner, Account::Fresh, back.came_cg)), (alloy, lost)]
    } else {
        vec![
            (alloy, Move::new(Account::Refiner, Account::Melted, back.came_cg)),
            (alloy, lost),
            (back.into, Move::new(Account::Melted, Account::Fresh, back.came_cg)),
        ]
    };
    ledger::post_all(conn, &entry, &moves).await
}
