//! What pages read about plates.

use sqlx::{FromRow, PgPool};

use super::model::{Model, PlateState, Setting};
use crate::clock::{Day, Moment};
use crate::id::{AttemptId, PlateId, PrinterId, ResinLotId};
use crate::pieces::Stage;

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) state: PlateState,
    pub(super) printer: String,
    pub(super) resin: String,
    pub(super) lot: String,
    pub(super) pieces: i64,
    pub(super) failed: i64,
    pub(super) created_at: Moment,
    pub(super) started_at: Option<Moment>,
    pub(super) ended_at: Option<Moment>,
    pub(super) estimated_min: Option<f64>,
}

impl ListRow {
    /// When a plate that prints should be done.
    pub(super) fn due_at(&self) -> Option<Moment> {
        due_at(self.state, self.started_at, self.estimated_min)
    }
}

fn due_at(state: PlateState, started: Option<Moment>, minutes: Option<f64>) -> Option<Moment> {
    if state != PlateState::Printing {
        return None;
    }
    Some(started?.plus_seconds((minutes? * 60.0).round() as i64))
}

pub(super) async fn list(
    pool: &PgPool,
    under_way: bool,
    size: i64,
    offset: i64,
) -> Result<(Vec<ListRow>, i64), sqlx::Error> {
    let rows = sqlx::query_scalar(
        "SELECT count(*) FROM plates WHERE (state IN ('open', 'printing')) = $1",
    )
    .bind(under_way)
    .fetch_one(pool)
    .await?;
    let list = sqlx::query_as(
        "SELECT p.number, p.state, r.name AS printer, s.name AS resin, l.lot, p.created_at, p.started_at,
                p.ended_at, p.estimated_min,
                CASE WHEN p.state IN ('open', 'printing')
                     THEN (SELECT count(*) FROM plate_pieces o WHERE o.plate_id = p.id AND o.left_at IS NULL)
                     ELSE (SELECT count(*) FROM plate_pieces o JOIN attempt_stages g ON g.attempt_id = o.attempt_id
                            WHERE o.plate_id = p.id AND g.stage = 'print' AND g.batch = 'plate:' || p.number)
                END AS pieces,
                (SELECT count(*) FROM plate_pieces o JOIN attempt_stages g ON g.attempt_id = o.attempt_id
                  WHERE o.plate_id = p.id AND g.stage = 'print' AND g.batch = 'plate:' || p.number
                    AND g.failed_at IS NOT NULL) AS failed
         FROM plates p JOIN printers r ON r.id = p.printer_id JOIN resin_lots l ON l.id = p.resin_lot_id
         JOIN resins s ON s.id = l.resin_id
         WHERE (p.state IN ('open', 'printing')) = $1
         ORDER BY p.state = 'printing' DESC, p.number DESC LIMIT $2 OFFSET $3",
    )
    .bind(under_way)
    .bind(size)
    .bind(offset)
    .fetch_all(pool)
    .await?;
    Ok((list, rows))
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct PlateRow {
    pub(super) id: PlateId,
    pub(super) number: i32,
    pub(super) state: PlateState,
    pub(super) version: i64,
    pub(super) printer_id: PrinterId,
    pub(super) printer: String,
    pub(super) resin_lot_id: ResinLotId,
    pub(super) resin: String,
    pub(super) lot: String,
    /// What the bottle holds without what this plate takes.
    pub(super) lot_left_ml: f64,
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) supports: String,
    pub(super) note: String,
    pub(super) started_at: Option<Moment>,
    pub(super) ended_at: Option<Moment>,
    pub(super) estimated_min: Option<f64>,
    pub(super) resin_ml: Option<f64>,
    width_mm: f64,
    depth_mm: f64,
    height_mm: f64,
    bottom_layers: i32,
    bottom_exposure_s: f64,
    lift_s: f64,
}

impl PlateRow {
    pub(super) fn setting(&self) -> Setting {
        Setting {
            width_mm: self.width_mm,
            depth_mm: self.depth_mm,
            height_mm: self.height_mm,
            layer_um: self.layer_um,
            exposure_s: self.exposure_s,
            bottom_layers: self.bottom_layers,
            bottom_exposure_s: self.bottom_exposure_s,
            lift_s: self.lift_s,
            supports: self.supports.clone(),
        }
    }

    pub(super) fn is_open(&self) -> bool {
        self.state == PlateState::Open
    }

    pub(super) fn is_printing(&self) -> bool {
        self.state == PlateState::Printing
    }

    /// Whether its last step may have been recorded by mistake.
    pub(super) fn can_be_taken_back(&self) -> bool {
        matches!(self.state, PlateState::Printing | PlateState::Done)
    }
}

pub(super) async fn load(pool: &PgPool, number: i32) -> Result<PlateRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id, p.number, p.state, p.version, p.printer_id, r.name AS printer, p.resin_lot_id,
                s.name AS resin, l.lot, p.layer_um, p.exposure_s, p.supports, p.note, p.started_at,
                p.ended_at, p.estimated_min, p.resin_ml, r.width_mm, r.depth_mm, r.height_mm,
                r.bottom_layers, r.bottom_exposure_s, r.lift_s,
                greatest(l.volume_ml - coalesce((SELECT sum(q.resin_ml) FROM plates q
                    WHERE q.resin_lot_id = l.id AND q.id <> p.id), 0), 0) AS lot_left_ml
         FROM plates p JOIN printers r ON r.id = p.printer_id JOIN resin_lots l ON l.id = p.resin_lot_id
         JOIN resins s ON s.id = l.resin_id WHERE p.number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

/// A piece that stands or stood on a plate.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OnPlate {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) attempt_n: i32,
    pub(super) design: String,
    pub(super) alloy: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    box_x_mm: f64,
    box_y_mm: f64,
    box_z_mm: f64,
    volume_mm3: Option<f64>,
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    turned: bool,
    pub(super) left_at: Option<Moment>,
    finished: bool,
    failed: bool,
    failed_at_stage: Option<Stage>,
    cause: Option<String>,
}

impl OnPlate {
    pub(super) fn path(&self) -> String {
        format!("/pieces/{}", self.label)
    }

    pub(super) fn model(&self) -> Model {
        Model {
            attempt: self.attempt,
            label: self.label.clone(),
            width_mm: self.box_x_mm,
            depth_mm: self.box_y_mm,
            height_mm: self.box_z_mm,
            volume_mm3: self.volume_mm3,
        }
    }

    /// What became of it on this plate.
    pub(super) fn outcome(&self) -> String {
        let cause = || self.cause.clone().unwrap_or_default();
        match (self.failed, self.finished, self.left_at, self.failed_at_stage) {
            (true, ..) => format!("failed: {}", cause()),
            (_, true, _, Some(stage)) => format!("printed; failed later at {stage}: {}", cause()),
            (_, true, ..) => "printed".to_owned(),
            (_, _, Some(_), _) => "taken off".to_owned(),
            _ => "on the plate".to_owned(),
        }
    }

    pub(super) fn has_failed(&self) -> bool {
        self.failed
    }
}

/// All pieces of a plate, also those that have left it.
pub(super) async fn pieces_of(
    pool: &PgPool,
    plate: &PlateRow,
) -> Result<Vec<OnPlate>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id AS attempt, p.label, t.n AS attempt_n, d.name AS design, a.name AS alloy,
                c.name AS client, o.due_on, v.box_x_mm, v.box_y_mm, v.box_z_mm, v.volume_mm3,
                pp.x_mm, pp.y_mm, pp.turned, pp.left_at,
                coalesce(g.batch = $2 AND g.finished_at IS NOT NULL, false) AS finished,
                coalesce(g.batch = $2 AND g.failed_at IS NOT NULL, false) AS failed,
                t.failed_at_stage::text AS failed_at_stage, t.cause
         FROM plate_pieces pp JOIN attempts t ON t.id = pp.attempt_id JOIN pieces p ON p.id = t.piece_id
         JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         LEFT JOIN attempt_stages g ON g.attempt_id = t.id AND g.stage = 'print'
         WHERE pp.plate_id = $1 ORDER BY o.number, p.n",
    )
    .bind(plate.id)
    .bind(format!("plate:{}", plate.number))
    .fetch_all(pool)
    .await
}

/// A piece that waits for print and stands on no plate.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Waiting {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) attempt_n: i32,
    pub(super) design: String,
    pub(super) alloy: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) box_x_mm: f64,
    pub(super) box_y_mm: f64,
    pub(super) box_z_mm: f64,
}

/// As many as can sensibly be ticked in one list.
const MOST_WAITING: i64 = 300;

const WAITS: &str = "FROM pieces p JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL
         WHERE p.stage = 'print' AND p.standing = 'waiting'
           AND NOT EXISTS (SELECT 1 FROM plate_pieces pp WHERE pp.attempt_id = t.id AND pp.left_at IS NULL)";

/// How many pieces wait for print and stand on no plate.
pub(super) async fn count_waiting(pool: &PgPool) -> Result<i64, sqlx::Error> {
    let sql = format!("SELECT count(*) {WAITS}");
    sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_one(pool).await
}

/// Pieces that wait for print, the first due first, and how many there are in all.
pub(super) async fn waiting(pool: &PgPool) -> Result<(Vec<Waiting>, i64), sqlx::Error> {
    let rows = count_waiting(pool).await?;
    let sql = format!(
        "SELECT w.attempt, w.label, w.attempt_n, d.name AS design, a.name AS alloy, c.name AS client,
                o.due_on, v.box_x_mm, v.box_y_mm, v.box_z_mm
         FROM (SELECT t.id AS attempt, p.label, t.n AS attempt_n, p.n, p.order_id, p.order_line_id {WAITS}) w
         JOIN orders o ON o.id = w.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = w.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         ORDER BY o.due_on NULLS LAST, o.number, w.n LIMIT $1"
    );
    let list = sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(MOST_WAITING).fetch_all(pool).await?;
    Ok((list, rows))
}

/// A rectangle of the drawing, with its origin at the top left as SVG has it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Drawn {
    pub(super) label: String,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) width: f64,
    pub(super) depth: f64,
    pub(super) middle_x: f64,
    pub(super) middle_y: f64,
    /// Size of the label's letters, so that it stays inside.
    pub(super) letters: f64,
}

/// The pieces on a plate as they are drawn, the plate's front edge below.
pub(super) fn drawing(plate: &PlateRow, pieces: &[OnPlate]) -> Vec<Drawn> {
    pieces
        .iter()
        .filter(|piece| piece.left_at.is_none() || piece.left_at == plate.ended_at)
        .filter_map(|piece| {
            let (x, y) = (piece.x_mm?, piece.y_mm?);
            let (width, depth) = if piece.turned {
                (piece.box_y_mm, piece.box_x_mm)
            } else {
                (piece.box_x_mm, piece.box_y_mm)
            };
            let top = plate.depth_mm - y - depth;
            // A letter is about 0.6 of its size wide.
            let letters = (width / (piece.label.len().max(1) as f64 * 0.6)).min(depth * 0.6);
            Some(Drawn {
                label: piece.label.clone(),
                x,
                y: top,
                width,
                depth,
                middle_x: x + width / 2.0,
                middle_y: top + depth / 2.0,
                letters: letters.min(plate.depth_mm / 14.0),
            })
        })
        .collect()
}
