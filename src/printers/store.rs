//! All SQL that writes printers, resins and lots.

use sqlx::PgConnection;

use super::forms::{LotForm, PrinterForm, ProfileForm, ResinForm};
use crate::clock::Moment;
use crate::id::{PrinterId, ProfileId, ResinId, ResinLotId};

pub(super) async fn insert_printer(
    conn: &mut PgConnection,
    id: PrinterId,
    printer: &PrinterForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO printers (id, name, width_mm, depth_mm, height_mm, layer_um, exposure_s,
             bottom_layers, bottom_exposure_s, lift_s, hour_rate)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
    )
    .bind(id)
    .bind(&printer.name)
    .bind(printer.width_mm)
    .bind(printer.depth_mm)
    .bind(printer.height_mm)
    .bind(printer.layer_um)
    .bind(printer.exposure_s)
    .bind(printer.bottom_layers)
    .bind(printer.bottom_exposure_s)
    .bind(printer.lift_s)
    .bind(printer.hour_rate)
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes a printer if nobody else did since `seen`; says whether it did.
pub(super) async fn update_printer(
    conn: &mut PgConnection,
    id: PrinterId,
    printer: &PrinterForm,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE printers SET name = $2, width_mm = $3, depth_mm = $4, height_mm = $5, layer_um = $6,
             exposure_s = $7, bottom_layers = $8, bottom_exposure_s = $9, lift_s = $10, hour_rate = $11,
             version = version + 1
         WHERE id = $1 AND version = $12",
    )
    .bind(id)
    .bind(&printer.name)
    .bind(printer.width_mm)
    .bind(printer.depth_mm)
    .bind(printer.height_mm)
    .bind(printer.layer_um)
    .bind(printer.exposure_s)
    .bind(printer.bottom_layers)
    .bind(printer.bottom_exposure_s)
    .bind(printer.lift_s)
    .bind(printer.hour_rate)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a printer out of use, or into use again with `None`.
pub(super) async fn retire_printer(
    conn: &mut PgConnection,
    id: PrinterId,
    retired_at: Option<Moment>,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE printers SET retired_at = $2, version = version + 1 WHERE id = $1 AND version = $3",
    )
    .bind(id)
    .bind(retired_at)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn insert_resin(
    conn: &mut PgConnection,
    id: ResinId,
    resin: &ResinForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO resins (id, name, density_g_cm3, shrinkage, wash_minutes, cure_minutes, source)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(id)
    .bind(&resin.name)
    .bind(resin.density_g_cm3)
    .bind(resin.shrinkage)
    .bind(resin.wash_minutes)
    .bind(resin.cure_minutes)
    .bind(&resin.source)
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes a resin if nobody else did since `seen`; says whether it did.
pub(super) async fn update_resin(
    conn: &mut PgConnection,
    id: ResinId,
    resin: &ResinForm,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE resins SET name = $2, density_g_cm3 = $3, shrinkage = $4, wash_minutes = $5,
             cure_minutes = $6, source = $7, version = version + 1
         WHERE id = $1 AND version = $8",
    )
    .bind(id)
    .bind(&resin.name)
    .bind(resin.density_g_cm3)
    .bind(resin.shrinkage)
    .bind(resin.wash_minutes)
    .bind(resin.cure_minutes)
    .bind(&resin.source)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a resin out of use, or into use again with `None`.
pub(super) async fn retire_resin(
    conn: &mut PgConnection,
    id: ResinId,
    retired_at: Option<Moment>,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE resins SET retired_at = $2, version = version + 1 WHERE id = $1 AND version = $3",
    )
    .bind(id)
    .bind(retired_at)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn insert_lot(
    conn: &mut PgConnection,
    id: ResinLotId,
    resin: ResinId,
    lot: &LotForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO resin_lots (id, resin_id, lot, opened_on, volume_ml) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(id)
    .bind(resin)
    .bind(&lot.lot)
    .bind(lot.opened_on)
    .bind(lot.volume_ml)
    .execute(conn)
    .await?;
    Ok(())
}

/// Notes that a bottle is empty; says whether it was not noted before.
pub(super) async fn use_up_lot(
    conn: &mut PgConnection,
    resin: ResinId,
    lot: ResinLotId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE resin_lots SET used_up_at = $3 WHERE id = $2 AND resin_id = $1 AND used_up_at IS NULL",
    )
    .bind(resin)
    .bind(lot)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn insert_profile(
    conn: &mut PgConnection,
    id: ProfileId,
    printer: PrinterId,
    profile: &ProfileForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO printer_profiles (id, printer_id, name, layer_um, exposure_s, bottom_layers, bottom_exposure_s,
             lift_mm, lift_s, vat_c) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(id)
    .bind(printer)
    .bind(&profile.name)
    .bind(profile.layer_um)
    .bind(profile.exposure_s)
    .bind(profile.bottom_layers)
    .bind(profile.bottom_exposure_s)
    .bind(profile.lift_mm)
    .bind(profile.lift_s)
    .bind(profile.vat_c)
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes a profile out of use, or into use again with `None`.
pub(super) async fn retire_profile(
    conn: &mut PgConnection,
    printer: PrinterId,
    id: ProfileId,
    retired_at: Option<Moment>,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE printer_profiles SET retired_at = $3, version = version + 1
         WHERE id = $2 AND printer_id = $1 AND version = $4",
    )
    .bind(printer)
    .bind(id)
    .bind(retired_at)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
