//! What a price starts from: the studio's settings, its machines, and what its batches held lately.

use foundry::investment::{
    Binder, FlaskToFill, WaterRatio, gypsum_bonded, phosphate_bonded, powder_and_water,
    slurry_volume,
};
use foundry::quantity::{CubicMillimetres, Millimetres};
use foundry::quote::measured;
use rust_decimal::Decimal;
use serde::Deserialize;
use sqlx::PgPool;
use sqlx::types::Json;

use super::choices::MetalRule;
use super::inputs::Inputs;
use super::starts;
use crate::id::{AlloyId, ClientId, InvestmentId, KilnId, PrinterId, ResinId};
use crate::prices::{Rules, Task, TaxRow, class_of};
use crate::studio::Settings;

/// Materials and machines to choose from.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Shop {
    pub(super) resins: Vec<(ResinId, String)>,
    pub(super) printers: Vec<Printer>,
    pub(super) investments: Vec<Investment>,
    pub(super) kilns: Vec<Kiln>,
    pub(super) alloys: Vec<Alloy>,
    pub(super) tasks: Vec<Task>,
    pub(super) taxes: Vec<TaxRow>,
    pub(super) rules: Rules,
}

/// An alloy that an option may be cast in.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Alloy {
    pub(super) id: AlloyId,
    pub(super) name: String,
    pub(super) density_g_cm3: f64,
    pub(super) source: String,
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Printer {
    pub(super) id: PrinterId,
    pub(super) name: String,
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_s: f64,
    pub(super) hour_rate: Decimal,
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Investment {
    pub(super) id: InvestmentId,
    pub(super) name: String,
    kind: String,
    water_per_100: f64,
}

#[derive(Clone, Debug, Deserialize)]
pub(super) struct Kiln {
    pub(super) id: KilnId,
    pub(super) name: String,
    power_kw: f64,
    pub(super) hour_rate: Decimal,
}

/// The whole shop in one answer: a price that is turned asks for it each time.
const SHOP: &str = "SELECT json_build_object(
    'resins', (SELECT coalesce(json_agg(json_build_array(id, name) ORDER BY lower(name), id), '[]')
               FROM resins WHERE retired_at IS NULL),
    'printers', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'layer_um', layer_um, 'exposure_s', exposure_s,
                   'bottom_layers', bottom_layers, 'bottom_exposure_s', bottom_exposure_s, 'lift_s', lift_s,
                   'hour_rate', hour_rate::text) ORDER BY lower(name), id), '[]') FROM printers WHERE retired_at IS NULL),
    'investments', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'kind', kind, 'water_per_100', water_per_100)
                   ORDER BY lower(name), id), '[]') FROM investments WHERE retired_at IS NULL),
    'kilns', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'power_kw', power_kw, 'hour_rate', hour_rate::text)
                   ORDER BY lower(name), id), '[]') FROM kilns WHERE retired_at IS NULL),
    'alloys', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'density_g_cm3', density_g_cm3, 'source', source)
                   ORDER BY lower(name), id), '[]') FROM alloys WHERE retired_at IS NULL),
    'tasks', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'hour_rate', hour_rate::text)
                   ORDER BY lower(name), id), '[]') FROM tasks WHERE retired_at IS NULL),
    'taxes', (SELECT coalesce(json_agg(json_build_object('id', id, 'name', name, 'rate', rate::text, 'inclusive', inclusive)
                   ORDER BY lower(name), id), '[]') FROM taxes WHERE retired_at IS NULL),
    'rules', (SELECT json_build_object('least_net', least_net::text, 'rounding', rounding, 'price_by', price_by, 'version', version)
              FROM price_rules))";

impl Shop {
    pub(super) async fn load(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let Json(shop) = sqlx::query_scalar(SHOP).fetch_one(pool).await?;
        Ok(shop)
    }
}

/// Pieces or flasks in a batch when nothing has been made yet. Common practice, no source.
const USUAL_IN_BATCH: u32 = 8;
/// Supports, rafts and what stays in the vat, in per cent of the model. Common practice, no source.
const USUAL_SUPPORTS: i64 = 30;
/// Share of a kiln's power taken on average over a firing. Common practice, no source.
const USUAL_DUTY: f64 = 0.4;
/// Hours of a firing when no programme is there yet. Common practice, no source.
const USUAL_FIRING_HOURS: f64 = 12.0;

/// What a first price of an order starts from.
pub(super) async fn defaults(
    pool: &PgPool,
    shop: &Shop,
    settings: &Settings,
    client: ClientId,
) -> Result<Inputs, sqlx::Error> {
    let class = class_of(pool, client).await?;
    let held = |rows: Option<Decimal>| {
        rows.and_then(|mean| u32::try_from(mean.round()).ok()).unwrap_or(USUAL_IN_BATCH).max(1)
    };
    let on_plate = sqlx::query_scalar(
        "SELECT avg(n) FROM (SELECT count(*) AS n FROM plate_pieces GROUP BY plate_id ORDER BY plate_id DESC LIMIT 30) x",
    )
    .fetch_one(pool)
    .await?;
    let in_flask = sqlx::query_scalar(
        "SELECT avg(n) FROM (SELECT count(*) AS n FROM flask_pieces GROUP BY flask_id ORDER BY flask_id DESC LIMIT 30) x",
    )
    .fetch_one(pool)
    .await?;
    let in_load = sqlx::query_scalar(
        "SELECT avg(n) FROM (SELECT count(*) AS n FROM kiln_load_flasks GROUP BY kiln_load_id ORDER BY kiln_load_id DESC LIMIT 30) x",
    )
    .fetch_one(pool)
    .await?;
    let firing: Option<i64> = sqlx::query_scalar(
        "SELECT sum(minutes) FROM programme_segments WHERE size_class = 'M'
         GROUP BY family_id ORDER BY family_id LIMIT 1",
    )
    .fetch_optional(pool)
    .await?
    .flatten();
    let hours = firing.map_or(USUAL_FIRING_HOURS, |minutes| minutes as f64 / 60.0);
    let flask: Option<(i32, i32)> = sqlx::query_as(
        "SELECT diameter_mm, height_mm FROM flask_types WHERE retired_at IS NULL ORDER BY owned DESC, id LIMIT 1",
    )
    .fetch_optional(pool)
    .await?;
    let investment = shop.investments.first();
    let powder = investment.zip(flask).and_then(|(powder, flask)| powder_kg(powder, flask));
    let kiln = shop.kilns.first();
    let percent = |share: Decimal| (share * Decimal::ONE_HUNDRED).normalize();
    let count = |minutes: i32| u32::try_from(minutes).unwrap_or(0);
    let mut inputs = Inputs {
        resin: shop.resins.first().map(|(id, _)| *id),
        supports_percent: Decimal::from(USUAL_SUPPORTS),
        printer: shop.printers.first().map(|printer| printer.id),
        pieces_on_plate: held(on_plate),
        investment: investment.map(|powder| powder.id),
        powder_kg: powder.unwrap_or_default(),
        pieces_in_flask: held(in_flask),
        kiln: kiln.map(|kiln| kiln.id),
        kiln_kwh: kiln
            .and_then(|kiln| measured(kiln.power_kw * hours * USUAL_DUTY, 1))
            .unwrap_or_default(),
        kiln_hours: measured(hours, 1).unwrap_or_default(),
        flasks_in_load: held(in_load),
        set_up_minutes: count(settings.set_up_minutes),
        bench_minutes: count(settings.bench_minutes),
        spares: 0,
        metal_loss_percent: percent(settings.metal_loss),
        overhead_percent: percent(settings.overhead),
        margin_percent: percent(settings.margin),
        discount_percent: class.as_ref().map(|class| percent(class.discount)).unwrap_or_default(),
        deposit_percent: percent(settings.deposit),
        valid_days: count(settings.quote_valid_days).max(1),
        ready_by: None,
        message: String::new(),
        bought: Vec::new(),
        extra_name: String::new(),
        extra_amount: Decimal::ZERO,
        set_up_apart: false,
        metal_rule: MetalRule::Fixed,
        own_lines: Vec::new(),
        asked_name: String::new(),
        options: Vec::new(),
        gas_kg: Decimal::ZERO,
        tax: class.as_ref().and_then(|class| class.tax_id),
        tasks: Vec::new(),
        line_taxes: Vec::new(),
        abroad: None,
    };
    starts::apply(pool, &mut inputs).await?;
    Ok(inputs)
}

/// Powder for a flask without a tree in it: a little too much, never too little.
fn powder_kg(powder: &Investment, (diameter, height): (i32, i32)) -> Option<Decimal> {
    let (kind, binder) = match powder.kind.as_str() {
        "phosphate" => (phosphate_bonded(), Binder::Phosphate),
        _ => (gypsum_bonded(), Binder::Gypsum),
    };
    let flask = FlaskToFill {
        name: "flask".into(),
        diameter: Millimetres::new(f64::from(diameter)).ok()?,
        height: Millimetres::new(f64::from(height)).ok()?,
        tree: CubicMillimetres::ZERO,
        channels: CubicMillimetres::ZERO,
        above_rim: Millimetres::ZERO,
    };
    let slurry = slurry_volume(&flask).ok()?.value;
    let ratio = WaterRatio::new(powder.water_per_100, binder).ok()?;
    let (mass, _) = powder_and_water(slurry, &kind, Some(ratio)).ok()?.value;
    measured(mass.get() / 1000.0, 3)
}
