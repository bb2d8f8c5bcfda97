//! What pages read about printers, resins and lots.

use rust_decimal::Decimal;
use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{PrinterId, ProfileId, ResinId, ResinLotId};

/// A printer.
#[derive(Clone, Debug, FromRow)]
pub struct PrinterRow {
    /// Which one.
    pub id: PrinterId,
    /// Its name.
    pub name: String,
    /// Width of its plate.
    pub width_mm: f64,
    /// Depth of its plate.
    pub depth_mm: f64,
    /// How tall a print may be.
    pub height_mm: f64,
    /// Usual height of a layer, micrometres.
    pub layer_um: i32,
    /// Usual light for a layer, seconds.
    pub exposure_s: f64,
    /// Layers at the start that get more light.
    pub bottom_layers: i32,
    /// Light for each of those, seconds.
    pub bottom_exposure_s: f64,
    /// Lift, return and wait for each layer, seconds.
    pub lift_s: f64,
    /// Money for an hour.
    pub hour_rate: Decimal,
    /// When it was taken out of use.
    pub retired_at: Option<Moment>,
    /// Counts the changes.
    pub version: i64,
}

/// All printers, those in use first.
pub(super) async fn printers(pool: &PgPool) -> Result<Vec<PrinterRow>, sqlx::Error> {
    sqlx::query_as("SELECT * FROM printers ORDER BY retired_at IS NOT NULL, lower(name), id")
        .fetch_all(pool)
        .await
}

/// Printers to choose from, by name.
pub async fn printers_in_use(db: impl PgExecutor<'_>) -> Result<Vec<PrinterRow>, sqlx::Error> {
    sqlx::query_as("SELECT * FROM printers WHERE retired_at IS NULL ORDER BY lower(name), id")
        .fetch_all(db)
        .await
}

pub(super) async fn printer(pool: &PgPool, id: PrinterId) -> Result<PrinterRow, sqlx::Error> {
    sqlx::query_as("SELECT * FROM printers WHERE id = $1").bind(id).fetch_one(pool).await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct ResinRow {
    pub(super) id: ResinId,
    pub(super) name: String,
    pub(super) density_g_cm3: f64,
    pub(super) shrinkage: f64,
    pub(super) wash_minutes: i32,
    pub(super) cure_minutes: i32,
    pub(super) source: String,
    pub(super) retired_at: Option<Moment>,
    pub(super) version: i64,
    pub(super) left_ml: f64,
}

impl ResinRow {
    pub(super) fn shrinkage_percent(&self) -> f64 {
        self.shrinkage * 100.0
    }
}

/// What a lot still holds: its volume less what its plates took.
const LEFT: &str = "greatest(l.volume_ml - coalesce((SELECT sum(p.resin_ml) FROM plates p WHERE p.resin_lot_id = l.id), 0), 0)";

fn resin_sql(rest: &str) -> String {
    format!(
        "SELECT r.id, r.name, r.density_g_cm3, r.shrinkage, r.wash_minutes, r.cure_minutes, r.source,
                r.retired_at, r.version,
                coalesce((SELECT sum({LEFT}) FROM resin_lots l
                          WHERE l.resin_id = r.id AND l.used_up_at IS NULL), 0) AS left_ml
         FROM resins r {rest}"
    )
}

pub(super) async fn resins(pool: &PgPool) -> Result<Vec<ResinRow>, sqlx::Error> {
    let sql = resin_sql("ORDER BY r.retired_at IS NOT NULL, lower(r.name), r.id");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}

pub(super) async fn resin(pool: &PgPool, id: ResinId) -> Result<ResinRow, sqlx::Error> {
    let sql = resin_sql("WHERE r.id = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(id).fetch_one(pool).await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct LotRow {
    pub(super) id: ResinLotId,
    pub(super) lot: String,
    pub(super) opened_on: Day,
    pub(super) volume_ml: f64,
    pub(super) used_up_at: Option<Moment>,
    pub(super) left_ml: f64,
    pub(super) plates: i64,
}

pub(super) async fn lots(pool: &PgPool, resin: ResinId) -> Result<Vec<LotRow>, sqlx::Error> {
    let sql = format!(
        "SELECT l.id, l.lot, l.opened_on, l.volume_ml, l.used_up_at, {LEFT} AS left_ml,
                (SELECT count(*) FROM plates p WHERE p.resin_lot_id = l.id AND p.state IN ('printing', 'done')) AS plates
         FROM resin_lots l WHERE l.resin_id = $1
         ORDER BY l.used_up_at IS NOT NULL, l.opened_on DESC, l.lot"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(resin).fetch_all(pool).await
}

/// An opened bottle to print from.
#[derive(Clone, Debug, FromRow)]
pub struct LotChoice {
    /// Which bottle.
    pub id: ResinLotId,
    /// Of which resin.
    pub resin: String,
    /// Its number.
    pub lot: String,
    /// What it still holds, millilitres.
    pub left_ml: f64,
}

impl LotChoice {
    /// The line in a list to choose from.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}, lot {}, {:.0} ml left", self.resin, self.lot, self.left_ml)
    }
}

/// Bottles that are open, of resins in use.
pub async fn lots_in_use(pool: &PgPool) -> Result<Vec<LotChoice>, sqlx::Error> {
    let sql = format!(
        "SELECT l.id, r.name AS resin, l.lot, {LEFT} AS left_ml
         FROM resin_lots l JOIN resins r ON r.id = l.resin_id
         WHERE l.used_up_at IS NULL AND r.retired_at IS NULL
         ORDER BY lower(r.name), l.opened_on, l.lot"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}

/// How a printer is set for a kind of work.
#[derive(Clone, Debug, FromRow)]
pub struct ProfileRow {
    /// Which one.
    pub id: ProfileId,
    /// Of which printer.
    pub printer_id: PrinterId,
    /// What that is called.
    pub printer: String,
    /// Its name.
    pub name: String,
    /// Height of a layer, micrometres.
    pub layer_um: i32,
    /// Light for a layer, seconds.
    pub exposure_s: f64,
    /// Layers at the start that get more light.
    pub bottom_layers: i32,
    /// Light for each of those, seconds.
    pub bottom_exposure_s: f64,
    /// How far the plate lifts after a layer.
    pub lift_mm: f64,
    /// Lift, return and wait for each layer, seconds.
    pub lift_s: f64,
    /// How warm the resin is kept.
    pub vat_c: Option<f64>,
    /// When it was taken out of use.
    pub retired_at: Option<Moment>,
    /// Counts the changes.
    pub version: i64,
}

impl ProfileRow {
    /// The line in a list to choose from.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}: {}, {} µm, {} s", self.printer, self.name, self.layer_um, self.exposure_s)
    }
}

const PROFILES: &str =
    "SELECT f.*, r.name AS printer FROM printer_profiles f JOIN printers r ON r.id = f.printer_id";

/// The profiles of a printer, those in use first.
pub(super) async fn profiles(
    pool: &PgPool,
    printer: PrinterId,
) -> Result<Vec<ProfileRow>, sqlx::Error> {
    let sql = format!(
        "{PROFILES} WHERE f.printer_id = $1 ORDER BY f.retired_at IS NOT NULL, lower(f.name), f.id"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(printer).fetch_all(pool).await
}

/// Profiles to choose from, of printers in use.
pub async fn profiles_in_use(pool: &PgPool) -> Result<Vec<ProfileRow>, sqlx::Error> {
    let sql = format!(
        "{PROFILES} WHERE f.retired_at IS NULL AND r.retired_at IS NULL ORDER BY lower(r.name), lower(f.name), f.id"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}
