//! What is done to printers, resins and lots, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::{LotForm, PrinterForm, ProfileForm, ResinForm};
use super::store;
use crate::audit;
use crate::id::{PrinterId, ProfileId, ResinId, ResinLotId};
use crate::people::Signed;
use crate::web::{Fault, Refused};

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    subject: String,
    name: &str,
) -> Result<(), Fault> {
    let detail = json!({ "name": name });
    audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await?;
    Ok(())
}

pub(super) async fn add_printer(
    conn: &mut PgConnection,
    signed: &Signed,
    printer: &PrinterForm,
) -> Result<PrinterId, Fault> {
    let id = PrinterId::new();
    store::insert_printer(conn, id, printer).await?;
    note(conn, signed, "added", format!("printer:{id}"), &printer.name).await?;
    Ok(id)
}

pub(super) async fn change_printer(
    conn: &mut PgConnection,
    signed: &Signed,
    id: PrinterId,
    printer: &PrinterForm,
    seen: i64,
) -> Result<(), Fault> {
    if !store::update_printer(conn, id, printer, seen).await? {
        return Err(Refused::stale("this printer").into());
    }
    note(conn, signed, "changed", format!("printer:{id}"), &printer.name).await
}

pub(super) async fn retire_printer(
    conn: &mut PgConnection,
    signed: &Signed,
    id: PrinterId,
    retire: bool,
    seen: i64,
) -> Result<(), Fault> {
    if !store::retire_printer(conn, id, retire.then_some(signed.now), seen).await? {
        return Err(Refused::stale("this printer").into());
    }
    let action = if retire { "retired" } else { "returned" };
    note(conn, signed, action, format!("printer:{id}"), "").await
}

pub(super) async fn add_resin(
    conn: &mut PgConnection,
    signed: &Signed,
    resin: &ResinForm,
) -> Result<ResinId, Fault> {
    let id = ResinId::new();
    store::insert_resin(conn, id, resin).await?;
    note(conn, signed, "added", format!("resin:{id}"), &resin.name).await?;
    Ok(id)
}

pub(super) async fn change_resin(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ResinId,
    resin: &ResinForm,
    seen: i64,
) -> Result<(), Fault> {
    if !store::update_resin(conn, id, resin, seen).await? {
        return Err(Refused::stale("this resin").into());
    }
    note(conn, signed, "changed", format!("resin:{id}"), &resin.name).await
}

pub(super) async fn retire_resin(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ResinId,
    retire: bool,
    seen: i64,
) -> Result<(), Fault> {
    if !store::retire_resin(conn, id, retire.then_some(signed.now), seen).await? {
        return Err(Refused::stale("this resin").into());
    }
    let action = if retire { "retired" } else { "returned" };
    note(conn, signed, action, format!("resin:{id}"), "").await
}

pub(super) async fn add_lot(
    conn: &mut PgConnection,
    signed: &Signed,
    resin: ResinId,
    lot: &LotForm,
) -> Result<ResinLotId, Fault> {
    let id = ResinLotId::new();
    store::insert_lot(conn, id, resin, lot).await?;
    note(conn, signed, "opened", format!("resin_lot:{id}"), &lot.lot).await?;
    Ok(id)
}

/// A bottle noted as empty twice is empty once.
pub(super) async fn use_up_lot(
    conn: &mut PgConnection,
    signed: &Signed,
    resin: ResinId,
    lot: ResinLotId,
) -> Result<(), Fault> {
    if store::use_up_lot(conn, resin, lot, signed.now).await? {
        note(conn, signed, "used up", format!("resin_lot:{lot}"), "").await?;
    }
    Ok(())
}

/// A profile is added and taken out of use, never changed: what was printed with it stays
/// what it was, and yields by profile stay true.
pub(super) async fn add_profile(
    conn: &mut PgConnection,
    signed: &Signed,
    printer: PrinterId,
    profile: &ProfileForm,
) -> Result<(), Fault> {
    let id = ProfileId::new();
    store::insert_profile(conn, id, printer, profile).await?;
    note(conn, signed, "added", format!("profile:{id}"), &profile.name).await
}

pub(super) async fn retire_profile(
    conn: &mut PgConnection,
    signed: &Signed,
    printer: PrinterId,
    id: ProfileId,
    retire: bool,
    seen: i64,
) -> Result<(), Fault> {
    if !store::retire_profile(conn, printer, id, retire.then_some(signed.now), seen).await? {
        return Err(Refused::stale("this profile").into());
    }
    let action = if retire { "retired" } else { "returned" };
    note(conn, signed, action, format!("profile:{id}"), "").await
}
