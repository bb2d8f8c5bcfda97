//! All SQL that writes plates.

use sqlx::{FromRow, PgConnection};

use super::model::{Model, Place, PlateState, Setting};
use crate::clock::{Day, Moment};
use crate::id::{AttemptId, DesignVersionId, PieceId, PlateId, PrinterId, ProfileId, ResinLotId};

/// A plate held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LockedPlate {
    pub(super) id: PlateId,
    pub(super) state: PlateState,
    pub(super) version: i64,
    pub(super) started_at: Option<Moment>,
    pub(super) estimated_min: Option<f64>,
}

pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<LockedPlate, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, state, version, started_at, estimated_min FROM plates WHERE number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

/// How the plate of a printer is set.
#[derive(Clone, Debug)]
pub(super) struct Chosen<'a> {
    pub(super) printer: PrinterId,
    pub(super) lot: ResinLotId,
    pub(super) profile: Option<ProfileId>,
    pub(super) setting: Usual,
    pub(super) supports: &'a str,
    pub(super) any_side: bool,
    pub(super) first_contact: bool,
    pub(super) orientation: &'a str,
    pub(super) note: &'a str,
}

/// How a printer is set when nobody says otherwise, or by a profile.
#[derive(Clone, Copy, Debug, FromRow)]
pub(super) struct Usual {
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_mm: Option<f64>,
    pub(super) lift_s: f64,
    pub(super) vat_c: Option<f64>,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    id: PlateId,
    chosen: &Chosen<'_>,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO plates (id, printer_id, resin_lot_id, layer_um, exposure_s, supports, any_side, note, created_at,
             profile_id, bottom_layers, bottom_exposure_s, lift_mm, lift_s, vat_c, first_contact, orientation)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17) RETURNING number",
    )
    .bind(id)
    .bind(chosen.printer)
    .bind(chosen.lot)
    .bind(chosen.setting.layer_um)
    .bind(chosen.setting.exposure_s)
    .bind(chosen.supports)
    .bind(chosen.any_side)
    .bind(chosen.note)
    .bind(now)
    .bind(chosen.profile)
    .bind(chosen.setting.bottom_layers)
    .bind(chosen.setting.bottom_exposure_s)
    .bind(chosen.setting.lift_mm)
    .bind(chosen.setting.lift_s)
    .bind(chosen.setting.vat_c)
    .bind(chosen.first_contact)
    .bind(chosen.orientation)
    .fetch_one(conn)
    .await
}

pub(super) async fn set(
    conn: &mut PgConnection,
    id: PlateId,
    chosen: &Chosen<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plates SET printer_id = $2, resin_lot_id = $3, layer_um = $4, exposure_s = $5,
             supports = $6, any_side = $7, note = $8, profile_id = $9, bottom_layers = $10, bottom_exposure_s = $11,
             lift_mm = $12, lift_s = $13, vat_c = $14, first_contact = $15, orientation = $16, version = version + 1 WHERE id = $1",
    )
    .bind(id)
    .bind(chosen.printer)
    .bind(chosen.lot)
    .bind(chosen.setting.layer_um)
    .bind(chosen.setting.exposure_s)
    .bind(chosen.supports)
    .bind(chosen.any_side)
    .bind(chosen.note)
    .bind(chosen.profile)
    .bind(chosen.setting.bottom_layers)
    .bind(chosen.setting.bottom_exposure_s)
    .bind(chosen.setting.lift_mm)
    .bind(chosen.setting.lift_s)
    .bind(chosen.setting.vat_c)
    .bind(chosen.first_contact)
    .bind(chosen.orientation)
    .execute(conn)
    .await?;
    Ok(())
}

/// Counts a change that is not in the plate's own row.
pub(super) async fn touch(conn: &mut PgConnection, id: PlateId) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plates SET version = version + 1 WHERE id = $1")
        .bind(id)
        .execute(conn)
        .await?;
    Ok(())
}

#[derive(Clone, Debug, FromRow)]
struct SettingRow {
    width_mm: f64,
    depth_mm: f64,
    height_mm: f64,
    layer_um: i32,
    exposure_s: f64,
    bottom_layers: i32,
    bottom_exposure_s: f64,
    lift_s: f64,
    supports: String,
    any_side: bool,
}

/// A printer with the plate's own settings.
pub(super) async fn setting_of(
    conn: &mut PgConnection,
    plate: PlateId,
) -> Result<Setting, sqlx::Error> {
    let row: SettingRow = sqlx::query_as(
        "SELECT r.width_mm, r.depth_mm, r.height_mm, p.layer_um, p.exposure_s,
                coalesce(p.bottom_layers, r.bottom_layers) AS bottom_layers,
                coalesce(p.bottom_exposure_s, r.bottom_exposure_s) AS bottom_exposure_s,
                coalesce(p.lift_s, r.lift_s) AS lift_s, p.supports, p.any_side
         FROM plates p JOIN printers r ON r.id = p.printer_id WHERE p.id = $1",
    )
    .bind(plate)
    .fetch_one(conn)
    .await?;
    Ok(Setting {
        width_mm: row.width_mm,
        depth_mm: row.depth_mm,
        height_mm: row.height_mm,
        layer_um: row.layer_um,
        exposure_s: row.exposure_s,
        bottom_layers: row.bottom_layers,
        bottom_exposure_s: row.bottom_exposure_s,
        lift_s: row.lift_s,
        supports: row.supports,
        any_side: row.any_side,
    })
}

/// The usual setting of a printer in use.
pub(super) async fn usual_of(
    conn: &mut PgConnection,
    printer: PrinterId,
) -> Result<Option<Usual>, sqlx::Error> {
    sqlx::query_as(
        "SELECT layer_um, exposure_s, bottom_layers, bottom_exposure_s, NULL::double precision AS lift_mm, lift_s,
                NULL::double precision AS vat_c FROM printers WHERE id = $1 AND retired_at IS NULL",
    )
    .bind(printer)
    .fetch_optional(conn)
    .await
}

/// The setting of a profile in use, if it belongs to the printer.
pub(super) async fn profile_of(
    conn: &mut PgConnection,
    profile: ProfileId,
    printer: PrinterId,
) -> Result<Option<Usual>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.layer_um, f.exposure_s, f.bottom_layers, f.bottom_exposure_s, f.lift_mm, f.lift_s, f.vat_c
         FROM printer_profiles f JOIN printers r ON r.id = f.printer_id
         WHERE f.id = $1 AND f.printer_id = $2 AND f.retired_at IS NULL AND r.retired_at IS NULL",
    )
    .bind(profile)
    .bind(printer)
    .fetch_optional(conn)
    .await
}

/// Whether a bottle is open.
pub(super) async fn lot_is_open(
    conn: &mut PgConnection,
    lot: ResinLotId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM resin_lots WHERE id = $1 AND used_up_at IS NULL)",
    )
    .bind(lot)
    .fetch_one(conn)
    .await
}

/// A piece as it stands, held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct HeldPiece {
    pub(super) piece: PieceId,
    attempt: AttemptId,
    label: String,
    version: DesignVersionId,
    due_on: Option<Day>,
    box_z_mm: f64,
    size_z_mm: Option<f64>,
    volume_mm3: Option<f64>,
    /// Whether this attempt waits for print.
    pub(super) waits: bool,
    /// The open plate it stands on.
    pub(super) plate: Option<i32>,
}

impl HeldPiece {
    pub(super) fn model(&self) -> Model {
        Model {
            attempt: self.attempt,
            label: self.label.clone(),
            version: self.version,
            due_on: self.due_on,
            height_mm: self.size_z_mm.unwrap_or(self.box_z_mm),
            volume_mm3: self.volume_mm3,
        }
    }

    pub(super) fn label(&self) -> &str {
        &self.label
    }

    pub(super) fn attempt(&self) -> AttemptId {
        self.attempt
    }
}

const HELD: &str = "SELECT p.id AS piece, t.id AS attempt, p.label, v.id AS version, r.due_on, v.box_z_mm,
        (SELECT o.size_z_mm FROM plate_pieces o WHERE o.attempt_id = t.id AND o.left_at IS NULL) AS size_z_mm,
        v.volume_mm3, (t.ended_at IS NULL AND p.stage = 'print' AND p.standing = 'waiting') AS waits,
        (SELECT b.number FROM plate_pieces o JOIN plates b ON b.id = o.plate_id
          WHERE o.attempt_id = t.id AND o.left_at IS NULL) AS plate
    FROM attempts t JOIN pieces p ON p.id = t.piece_id JOIN orders r ON r.id = p.order_id
    JOIN order_lines l ON l.id = p.order_line_id
    JOIN design_versions v ON v.id = l.design_version_id";

/// Holds the pieces of some attempts, always in the same order.
pub(super) async fn hold(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
) -> Result<Vec<HeldPiece>, sqlx::Error> {
    let sql = format!("{HELD} WHERE t.id = ANY($1) ORDER BY p.id FOR UPDATE OF p");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(attempts).fetch_all(conn).await
}

/// Holds the pieces that stand on a plate.
pub(super) async fn hold_on_plate(
    conn: &mut PgConnection,
    plate: PlateId,
) -> Result<Vec<HeldPiece>, sqlx::Error> {
    let sql = format!(
        "{HELD} JOIN plate_pieces o ON o.attempt_id = t.id
         WHERE o.plate_id = $1 AND o.left_at IS NULL ORDER BY p.id FOR UPDATE OF p"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(plate).fetch_all(conn).await
}

/// Writes where the pieces stand; those that are new are put on.
pub(super) async fn place(
    conn: &mut PgConnection,
    plate: PlateId,
    places: &[Place],
) -> Result<(), sqlx::Error> {
    for place in places {
        sqlx::query(
            "INSERT INTO plate_pieces (plate_id, attempt_id, x_mm, y_mm, up, turn_deg, size_x_mm, size_y_mm, size_z_mm, outline)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
             ON CONFLICT (plate_id, attempt_id) DO UPDATE
                 SET x_mm = EXCLUDED.x_mm, y_mm = EXCLUDED.y_mm, up = EXCLUDED.up, turn_deg = EXCLUDED.turn_deg,
                     size_x_mm = EXCLUDED.size_x_mm, size_y_mm = EXCLUDED.size_y_mm, size_z_mm = EXCLUDED.size_z_mm,
                     outline = EXCLUDED.outline, left_at = NULL",
        )
        .bind(plate)
        .bind(place.attempt)
        .bind(place.x_mm)
        .bind(place.y_mm)
        .bind(place.up)
        .bind(place.turn_deg)
        .bind(place.size_mm[0])
        .bind(place.size_mm[1])
        .bind(place.size_mm[2])
        .bind(sqlx::types::Json(&place.outline))
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Takes one piece off; says whether it was on.
pub(super) async fn take_off(
    conn: &mut PgConnection,
    plate: PlateId,
    attempt: AttemptId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE plate_pieces SET left_at = $3 WHERE plate_id = $1 AND attempt_id = $2 AND left_at IS NULL",
    )
    .bind(plate)
    .bind(attempt)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes everything off.
pub(super) async fn clear(
    conn: &mut PgConnection,
    plate: PlateId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plate_pieces SET left_at = $2 WHERE plate_id = $1 AND left_at IS NULL")
        .bind(plate)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn start(
    conn: &mut PgConnection,
    plate: PlateId,
    now: Moment,
    estimated_min: Option<f64>,
    resin_ml: Option<f64>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plates SET state = 'printing', started_at = $2, estimated_min = $3, resin_ml = $4,
             version = version + 1 WHERE id = $1",
    )
    .bind(plate)
    .bind(now)
    .bind(estimated_min)
    .bind(resin_ml)
    .execute(conn)
    .await?;
    Ok(())
}

/// Ends a plate; `printed` is the share of it that was printed and took resin.
pub(super) async fn end(
    conn: &mut PgConnection,
    plate: PlateId,
    state: PlateState,
    printed: f64,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plates SET state = $2, ended_at = $3, resin_ml = resin_ml * $4, version = version + 1
         WHERE id = $1",
    )
    .bind(plate)
    .bind(state)
    .bind(now)
    .bind(printed)
    .execute(conn)
    .await?;
    Ok(())
}

/// A run that was started by mistake is laid out again; its pieces stay on.
pub(super) async fn unstart(conn: &mut PgConnection, plate: PlateId) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plates SET state = 'open', started_at = NULL, estimated_min = NULL, resin_ml = NULL,
             version = version + 1 WHERE id = $1",
    )
    .bind(plate)
    .execute(conn)
    .await?;
    Ok(())
}

/// A piece of a done plate that was put in a cure batch since: its label and the batch.
pub(super) async fn gone_to_cure(
    conn: &mut PgConnection,
    plate: PlateId,
) -> Result<Option<(String, i32)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.label, b.number FROM plate_pieces o JOIN cure_batch_pieces c ON c.attempt_id = o.attempt_id AND c.left_at IS NULL
         JOIN cure_batches b ON b.id = c.cure_batch_id JOIN attempts t ON t.id = o.attempt_id JOIN pieces p ON p.id = t.piece_id
         WHERE o.plate_id = $1 ORDER BY p.label LIMIT 1",
    )
    .bind(plate)
    .fetch_optional(conn)
    .await
}

/// A plate that was not done yet prints again, with what was on it; its pieces.
pub(super) async fn reopen(
    conn: &mut PgConnection,
    plate: PlateId,
) -> Result<Vec<PieceId>, sqlx::Error> {
    let pieces = sqlx::query_scalar(
        "UPDATE plate_pieces o SET left_at = NULL FROM plates b, attempts t
         WHERE b.id = $1 AND o.plate_id = b.id AND o.left_at = b.ended_at AND t.id = o.attempt_id RETURNING t.piece_id",
    )
    .bind(plate)
    .fetch_all(&mut *conn)
    .await?;
    sqlx::query("UPDATE plates SET state = 'printing', ended_at = NULL, version = version + 1 WHERE id = $1")
        .bind(plate)
        .execute(conn)
        .await?;
    Ok(pieces)
}
