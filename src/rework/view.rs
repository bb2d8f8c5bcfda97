//! What rework pages read: where a piece is, what its stages cost, how long they take, what could take its place.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use sqlx::{FromRow, PgPool};

use super::model::Typical;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, AttemptId, PieceId};
use crate::pieces::{Stage, Standing, State};
use crate::prices::{DayPrices, PriceKind};
use crate::studio::Settings;

/// A piece and what it is made as.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PieceRow {
    pub(super) id: PieceId,
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) version: i64,
    attempt_n: i32,
    stage: Stage,
    standing: Standing,
    pub(super) design: String,
    pub(super) alloy: String,
    alloy_id: AlloyId,
    pub(super) order_number: i32,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    finishing_minutes: i32,
    model_g: Option<f64>,
}

impl PieceRow {
    pub(super) fn state(&self) -> State {
        State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
    }
}

const PIECE: &str = "SELECT p.id, t.id AS attempt, p.label, p.version, p.attempt_n, p.stage::text AS stage, p.standing,
        d.name AS design, a.name AS alloy, l.alloy_id, o.number AS order_number, c.name AS client, o.due_on,
        l.finishing_minutes, v.volume_mm3 / 1000 * a.density_g_cm3 AS model_g
    FROM pieces p JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
    JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
    JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
    JOIN LATERAL (SELECT t.id FROM attempts t WHERE t.piece_id = p.id
                   ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1) t ON true";

pub(super) async fn piece(pool: &PgPool, label: &str) -> Result<PieceRow, sqlx::Error> {
    let sql = format!("{PIECE} WHERE p.label = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(label).fetch_one(pool).await
}

/// Pieces of the same model in the same alloy that are further on, the furthest first, and of
/// those the one that is due last.
pub(super) async fn spares(pool: &PgPool, piece: &PieceRow) -> Result<Vec<PieceRow>, sqlx::Error> {
    let sql = format!(
        "{PIECE} WHERE p.id <> $1 AND p.standing IN ('waiting', 'in_hand', 'ready')
           AND (l.design_version_id, l.alloy_id) = (SELECT m.design_version_id, m.alloy_id FROM pieces q
                JOIN order_lines m ON m.id = q.order_line_id WHERE q.id = $1)
           AND array_position($2, p.stage::text) * 3 + array_position(ARRAY['waiting', 'in_hand', 'ready'], p.standing)
             > array_position($2, $3) * 3 + array_position(ARRAY['waiting', 'in_hand', 'ready'], $4)
         ORDER BY array_position($2, p.stage::text) DESC, p.standing = 'ready' DESC, o.due_on DESC NULLS FIRST, p.label LIMIT 12"
    );
    let stages: Vec<&str> = Stage::ALL.iter().map(|stage| stage.name()).collect();
    let standing = match piece.standing {
        Standing::Ready => "ready",
        Standing::InHand => "in_hand",
        _ => "waiting",
    };
    sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(piece.id)
        .bind(stages)
        .bind(piece.stage.name())
        .bind(standing)
        .fetch_all(pool)
        .await
}

/// How long the stages took lately: from the end of the stage before to their own.
pub(super) async fn typical(pool: &PgPool, now: Moment) -> Result<Vec<Typical>, sqlx::Error> {
    let rows: Vec<(Stage, f64, i64)> = sqlx::query_as(
        "WITH lately AS (SELECT attempt_id, stage::text AS stage, finished_at FROM attempt_stages
             WHERE coalesce(failed_at, finished_at) BETWEEN $1 - interval '120 days' AND $1 AND finished_at IS NOT NULL
             ORDER BY coalesce(failed_at, finished_at) DESC LIMIT 2000)
         SELECT stage, percentile_cont(0.5) WITHIN GROUP (ORDER BY extract(epoch FROM finished_at - began) / 86400)::double precision,
                count(*)
         FROM (SELECT l.stage, l.finished_at, coalesce((SELECT max(b.finished_at) FROM attempt_stages b
                    WHERE b.attempt_id = l.attempt_id AND b.finished_at < l.finished_at), t.begun_at) AS began
               FROM lately l JOIN attempts t ON t.id = l.attempt_id) each
         GROUP BY stage",
    )
    .bind(now)
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(stage, days, records)| Typical { stage, days: days.max(0.0), records })
        .collect())
}

/// What a stage of a piece costs, and how that was reckoned; none when something is missing.
#[derive(Clone, Debug)]
pub(super) struct StageCost {
    pub(super) stage: Stage,
    pub(super) how: String,
    pub(super) amount: Option<Decimal>,
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

/// What each stage costs for a piece: from its own batches, else from the studio's last ones.
pub(super) async fn costs(
    pool: &PgPool,
    piece: &PieceRow,
    today: Day,
) -> Result<Vec<StageCost>, sqlx::Error> {
    let settings = Settings::load(pool).await?;
    let prices = DayPrices::load(pool, today, &settings.currency, &[piece.alloy_id]).await?;
    let hour = Decimal::from(60);
    let plate: Option<PlateShare> = sqlx::query_as(
        "SELECT r.hour_rate, p.estimated_min AS minutes, p.resin_ml, l.resin_id::text AS resin,
                greatest((SELECT count(*) FROM plate_pieces x WHERE x.plate_id = p.id), 1) AS pieces
         FROM plates p JOIN printers r ON r.id = p.printer_id JOIN resin_lots l ON l.id = p.resin_lot_id
         WHERE p.id = coalesce(
                 (SELECT q.id FROM plate_pieces x JOIN plates q ON q.id = x.plate_id
                  WHERE x.attempt_id = $1 AND q.started_at IS NOT NULL ORDER BY q.number DESC LIMIT 1),
                 (SELECT q.id FROM plates q WHERE q.started_at IS NOT NULL ORDER BY q.number DESC LIMIT 1))",
    )
    .bind(piece.attempt)
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
    let kiln: Option<KilnShare> = sqlx::query_as(
        "SELECT k.hour_rate, (SELECT sum((s ->> 'minutes')::integer) FROM jsonb_array_elements(l.programme) s) AS minutes,
                greatest((SELECT count(*) FROM kiln_load_flasks lf JOIN flask_pieces fp ON fp.flask_id = lf.flask_id
                           WHERE lf.kiln_load_id = l.id), 1) AS pieces
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.started_at IS NOT NULL ORDER BY l.number DESC LIMIT 1",
    )
    .fetch_optional(pool)
    .await?;
    let minutes: Option<i32> =
        sqlx::query_scalar("SELECT minutes FROM finishing WHERE attempt_id = $1")
            .bind(piece.attempt)
            .fetch_optional(pool)
            .await?
            .flatten();
    let metal = prices
        .alloy(piece.alloy_id, &piece.alloy)
        .ok()
        .zip(piece.model_g)
        .map(|(price, grams)| price.amount * exact(grams) * settings.metal_loss);
    let finish_minutes = Decimal::from(minutes.unwrap_or(piece.finishing_minutes));
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
        cost(
            Stage::Burnout,
            "kiln's hours of the last load, shared by the pieces in it",
            kiln.and_then(|kiln| {
                Some(
                    kiln.hour_rate * Decimal::from(kiln.minutes?)
                        / hour
                        / Decimal::from(kiln.pieces),
                )
            }),
        ),
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

/// What was said when a piece was last reworked.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Before {
    pub(super) kind: String,
    pub(super) stage: Stage,
    pub(super) at: Moment,
    pub(super) note: String,
    pub(super) detail: serde_json::Value,
}

pub(super) async fn last_rework(
    pool: &PgPool,
    piece: PieceId,
) -> Result<Option<Before>, sqlx::Error> {
    sqlx::query_as(
        "SELECT kind, stage::text AS stage, at, note, detail FROM piece_events
         WHERE piece_id = $1 AND kind IN ('sent_back', 'swapped', 'moved') ORDER BY id DESC LIMIT 1",
    )
    .bind(piece)
    .fetch_optional(pool)
    .await
}

/// A piece of an order that may go to another one.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderPiece {
    pub(super) id: PieceId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) alloy: String,
    attempt_n: i32,
    stage: Stage,
    standing: Standing,
}

impl OrderPiece {
    pub(super) fn state(&self) -> State {
        State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
    }
}

/// An order that pieces leave, or may go to.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) version: i64,
}

pub(super) async fn order(pool: &PgPool, number: i32) -> Result<OrderRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number, o.title, c.name AS client, o.due_on, o.version
         FROM orders o JOIN clients c ON c.id = o.client_id WHERE o.number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

/// Other orders of the same client that are being made.
pub(super) async fn sisters(pool: &PgPool, number: i32) -> Result<Vec<OrderRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number, o.title, c.name AS client, o.due_on, o.version
         FROM orders o JOIN clients c ON c.id = o.client_id JOIN orders from_here ON from_here.client_id = o.client_id
         WHERE from_here.number = $1 AND o.id <> from_here.id AND o.state IN ('agreed', 'ready') ORDER BY o.number DESC LIMIT 50",
    )
    .bind(number)
    .fetch_all(pool)
    .await
}

pub(super) async fn order_pieces(
    pool: &PgPool,
    number: i32,
) -> Result<Vec<OrderPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id, p.label, d.name AS design, a.name AS alloy, p.attempt_n, p.stage::text AS stage, p.standing
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN alloys a ON a.id = l.alloy_id JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE o.number = $1 AND p.standing IN ('waiting', 'in_hand', 'ready') ORDER BY p.n LIMIT 500",
    )
    .bind(number)
    .fetch_all(pool)
    .await
}
