//! The records that costs and days are told from.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use sqlx::{FromRow, PgPool};

use super::model::Typical;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, AttemptId};
use crate::pieces::Stage;
use crate::prices::{DayPrices, PriceKind};
use crate::studio::Settings;

/// So many of the latest pieces through a stage tell how long it takes; a page of them costs the
/// same however many there ever were.
const LATEST: i64 = 200;

/// How long the stages took lately: from the end of the stage before to their own.
pub async fn typical(pool: &PgPool, now: Moment) -> Result<Vec<Typical>, sqlx::Error> {
    let rows: Vec<(Stage, f64, i64)> = sqlx::query_as(
        "SELECT stage, percentile_cont(0.5) WITHIN GROUP (ORDER BY extract(epoch FROM finished_at - began) / 86400)::double precision,
                count(*)
         FROM (SELECT s.stage, l.finished_at, coalesce((SELECT max(b.finished_at) FROM attempt_stages b
                    WHERE b.attempt_id = l.attempt_id AND b.finished_at < l.finished_at), t.begun_at) AS began
               FROM unnest($2::text[]) s(stage) CROSS JOIN LATERAL (SELECT a.attempt_id, a.finished_at FROM attempt_stages a
                   WHERE a.stage = s.stage AND a.failed_at IS NULL AND a.finished_at BETWEEN $1 - interval '120 days' AND $1
                   ORDER BY a.finished_at DESC LIMIT $3) l JOIN attempts t ON t.id = l.attempt_id) each
         GROUP BY stage",
    )
    .bind(now)
    .bind(Stage::ALL.map(Stage::name))
    .bind(LATEST)
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(stage, days, records)| Typical { stage, days: days.max(0.0), records })
        .collect())
}

/// What a stage of a piece costs, and how that was reckoned; none when something is missing.
#[derive(Clone, Debug)]
pub struct StageCost {
    /// The stage.
    pub stage: Stage,
    /// How it was reckoned.
    pub how: String,
    /// In the studio's currency.
    pub amount: Option<Decimal>,
}

/// An attempt and what it is made as.
#[derive(Clone, Debug, FromRow)]
pub struct Made {
    /// The attempt.
    pub attempt: AttemptId,
    /// Its alloy.
    pub alloy_id: AlloyId,
    /// What that is called.
    pub alloy: String,
    /// The minutes of finishing that its order allows.
    pub finishing_minutes: i32,
    /// What its model weighs in that alloy; none for an open one.
    pub model_g: Option<f64>,
}

#[derive(FromRow)]
struct PlateShare {
    hour_rate: Decimal,
    minutes: Option<f64>,
    resin_ml: Option<f64>,
    resin: String,
    pieces: i64,
}

#[derive(FromRow)]
struct KilnShare {
    hour_rate: Decimal,
    minutes: Option<i64>,
    pieces: i64,
}

fn exact(value: f64) -> Decimal {
    Decimal::from_f64(value).unwrap_or_default().round_dp(4)
}

/// The studio's rates and prices of a day, from which the costs of any attempt are told.
pub struct Rates {
    settings: Settings,
    prices: DayPrices,
    kiln: Option<KilnShare>,
}

impl Rates {
    /// Loads what holds on a day, with the prices of these alloys.
    pub async fn load(pool: &PgPool, today: Day, alloys: &[AlloyId]) -> Result<Self, sqlx::Error> {
        let settings = Settings::load(pool).await?;
        let prices = DayPrices::load(pool, today, &settings.currency, alloys).await?;
        let kiln = sqlx::query_as(
            "SELECT k.hour_rate, (SELECT sum((s ->> 'minutes')::integer) FROM jsonb_array_elements(l.programme) s) AS minutes,
                    greatest((SELECT count(*) FROM kiln_load_flasks lf JOIN flask_pieces fp ON fp.flask_id = lf.flask_id
                               WHERE lf.kiln_load_id = l.id), 1) AS pieces
             FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.started_at IS NOT NULL ORDER BY l.number DESC LIMIT 1",
        )
        .fetch_optional(pool)
        .await?;
        Ok(Self { settings, prices, kiln })
    }

    /// What each stage costs for an attempt: from its own batches, else from the studio's last ones.
    pub async fn costs(&self, pool: &PgPool, made: &Made) -> Result<Vec<StageCost>, sqlx::Error> {
        let (settings, prices, hour) = (&self.settings, &self.prices, Decimal::from(60));
        let plate: Option<PlateShare> = sqlx::query_as(
            "SELECT r.hour_rate, p.estimated_min AS minutes, p.resin_ml, l.resin_id::text AS resin,
                    greatest((SELECT count(*) FROM plate_pieces x WHERE x.plate_id = p.id), 1) AS pieces
             FROM plates p JOIN printers r ON r.id = p.printer_id JOIN resin_lots l ON l.id = p.resin_lot_id
             WHERE p.id = coalesce(
                     (SELECT q.id FROM plate_pieces x JOIN plates q ON q.id = x.plate_id
                      WHERE x.attempt_id = $1 AND q.started_at IS NOT NULL ORDER BY q.number DESC LIMIT 1),
                     (SELECT q.id FROM plates q WHERE q.started_at IS NOT NULL ORDER BY q.number DESC LIMIT 1))",
        )
        .bind(made.attempt)
        .fetch_optional(pool)
        .await?;
        let print = plate.and_then(|plate| {
            let pieces = Decimal::from(plate.pieces);
            let time = plate.hour_rate * exact(plate.minutes?) / hour / pieces;
            let resin = prices.of(PriceKind::Resin, &plate.resin, "the resin").ok();
            let material =
                resin.map(|price| price.amount * exact(plate.resin_ml.unwrap_or(0.0)) / pieces);
            Some(time + material.unwrap_or_default())
        });
        let minutes: Option<i32> =
            sqlx::query_scalar("SELECT minutes FROM finishing WHERE attempt_id = $1")
                .bind(made.attempt)
                .fetch_optional(pool)
                .await?
                .flatten();
        let metal = prices
            .alloy(made.alloy_id, &made.alloy)
            .ok()
            .zip(made.model_g)
            .map(|(price, grams)| price.amount * exact(grams) * settings.metal_loss);
        let kiln = self.kiln.as_ref().and_then(|kiln| {
            let minutes = Decimal::from(kiln.minutes?);
            Some(kiln.hour_rate * minutes / hour / Decimal::from(kiln.pieces))
        });
        let finish_minutes = Decimal::from(minutes.unwrap_or(made.finishing_minutes));
        let cost = |stage, how: &str, amount| StageCost { stage, how: how.to_owned(), amount };
        Ok(vec![
            cost(
                Stage::Print,
                "printer's hours and resin of its plate, shared by the pieces on it",
                print,
            ),
            cost(Stage::Cure, "no rate is kept for washing and curing", None),
            cost(
                Stage::Invest,
                "bench minutes of the settings at the bench's rate",
                Some(Decimal::from(settings.bench_minutes) * settings.bench_rate / hour),
            ),
            cost(Stage::Burnout, "kiln's hours of the last load, shared by the pieces in it", kiln),
            cost(
                Stage::Cast,
                "metal lost by the share of the settings, at today's price; the rest is melted again",
                metal,
            ),
            cost(
                Stage::Finish,
                "minutes of finishing at its rate",
                Some(finish_minutes * settings.finishing_rate / hour),
            ),
        ])
    }
}

/// A failure that was not taken back.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FailedRow {
    #[sqlx(flatten)]
    pub(super) made: Made,
    pub(super) label: String,
    pub(super) stage: Stage,
    pub(super) cause: String,
    pub(super) at: Moment,
    pub(super) due_on: Option<Day>,
}

const FAILED: &str = "SELECT e.attempt_id AS attempt, l.alloy_id, a.name AS alloy, l.finishing_minutes,
        v.volume_mm3 / 1000 * a.density_g_cm3 AS model_g, p.label, e.stage::text AS stage, e.cause, e.at, o.due_on
    FROM piece_events e JOIN pieces p ON p.id = e.piece_id JOIN orders o ON o.id = p.order_id
    JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
    JOIN design_versions v ON v.id = l.design_version_id
    WHERE e.kind = 'failed' AND NOT EXISTS (SELECT 1 FROM piece_events u WHERE u.undoes = e.id)";

/// As many failures as a panel lists.
const MOST: i64 = 60;

/// What failed in these batches, such as `plate:41`, at these stages.
pub(super) async fn failed_in(
    pool: &PgPool,
    batches: &[String],
    stages: &[Stage],
) -> Result<Vec<FailedRow>, sqlx::Error> {
    let stages: Vec<&str> = stages.iter().map(|stage| stage.name()).collect();
    let sql = format!(
        "{FAILED} AND e.batch = ANY($1) AND e.stage = ANY($2) ORDER BY e.id DESC LIMIT {MOST}"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(batches).bind(stages).fetch_all(pool).await
}

/// The last failure of a piece, while the attempt after it waits for print.
pub(super) async fn last_of(pool: &PgPool, label: &str) -> Result<Vec<FailedRow>, sqlx::Error> {
    let sql = format!(
        "{FAILED} AND p.label = $1 AND p.stage = 'print' AND p.standing = 'waiting' ORDER BY e.id DESC LIMIT 1"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(label).fetch_all(pool).await
}
