//! What pages read about plates.

use sqlx::types::Json;
use sqlx::{FromRow, PgPool};

use super::model::{Model, Place, PlateState, Setting};
use crate::clock::{Day, Moment};
use crate::id::{AttemptId, DesignVersionId, PlateId, PrinterId, ProfileId, ResinId, ResinLotId};
use crate::pieces::Stage;
use crate::web::{Order, Paged, Term, Turned};

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
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order = Order {
        terms: &[Term::number("(p.state = 'printing')::integer"), Term::number("p.number")],
        falling: true,
    };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar(
        "SELECT count(*) FROM plates WHERE (state IN ('open', 'printing')) = $1",
    )
    .bind(under_way)
    .fetch_one(pool)
    .await?;
    let sql = format!(
        "SELECT {}, p.number, p.state, r.name AS printer, s.name AS resin, l.lot, p.created_at, p.started_at,
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
         WHERE (p.state IN ('open', 'printing')) = $1 AND {}{}",
        seek.column(),
        seek.beyond("$2"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(under_way)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok(seek.page(found, rows))
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
    pub(super) profile_id: Option<ProfileId>,
    pub(super) profile: Option<String>,
    pub(super) supports: String,
    pub(super) any_side: bool,
    pub(super) first_contact: bool,
    pub(super) orientation: String,
    pub(super) lift_mm: Option<f64>,
    pub(super) vat_c: Option<f64>,
    pub(super) note: String,
    pub(super) started_at: Option<Moment>,
    pub(super) ended_at: Option<Moment>,
    pub(super) estimated_min: Option<f64>,
    pub(super) resin_ml: Option<f64>,
    width_mm: f64,
    depth_mm: f64,
    height_mm: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_s: f64,
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
            any_side: self.any_side,
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
                s.name AS resin, l.lot, p.layer_um, p.exposure_s, p.supports, p.any_side, p.note, p.started_at,
                p.ended_at, p.estimated_min, p.resin_ml, r.width_mm, r.depth_mm, r.height_mm,
                coalesce(p.bottom_layers, r.bottom_layers) AS bottom_layers,
                coalesce(p.bottom_exposure_s, r.bottom_exposure_s) AS bottom_exposure_s,
                coalesce(p.lift_s, r.lift_s) AS lift_s, p.lift_mm, p.vat_c, p.first_contact, p.orientation, p.profile_id,
                (SELECT f.name FROM printer_profiles f WHERE f.id = p.profile_id) AS profile,
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
    version: DesignVersionId,
    box_x_mm: f64,
    box_y_mm: f64,
    box_z_mm: f64,
    volume_mm3: Option<f64>,
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    up: String,
    turn_deg: f64,
    size_x_mm: Option<f64>,
    size_y_mm: Option<f64>,
    size_z_mm: Option<f64>,
    outline: Json<Vec<Vec<[f64; 2]>>>,
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
            version: self.version,
            due_on: self.due_on,
            height_mm: self.size_z_mm.unwrap_or(self.box_z_mm),
            volume_mm3: self.volume_mm3,
        }
    }

    /// Where the box round it begins, from the left and the front edge.
    pub(super) fn corner_mm(&self) -> Option<(f64, f64)> {
        self.x_mm.zip(self.y_mm).filter(|_| self.left_at.is_none())
    }

    /// How it stands, for whoever slices the plate; nothing when it stands as it was drawn.
    pub(super) fn stance(&self) -> Option<String> {
        stance(&self.up, self.turn_deg)
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

pub(super) fn stance(up: &str, turn_deg: f64) -> Option<String> {
    let turned = (turn_deg != 0.0).then(|| format!("turned {turn_deg:.0}° anticlockwise"));
    let tipped = (up != "+z").then(|| format!("{up} above"));
    match (tipped, turned) {
        (None, None) => None,
        (tipped, turned) => {
            Some([tipped, turned].into_iter().flatten().collect::<Vec<_>>().join(", "))
        }
    }
}

/// The resin of a bottle: which, and its name.
pub(super) async fn resin_of(
    pool: &PgPool,
    lot: ResinLotId,
) -> Result<Option<(ResinId, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT r.id, r.name FROM resin_lots l JOIN resins r ON r.id = l.resin_id WHERE l.id = $1",
    )
    .bind(lot)
    .fetch_optional(pool)
    .await
}

/// All pieces of a plate, also those that have left it.
pub(super) async fn pieces_of(
    pool: &PgPool,
    plate: &PlateRow,
) -> Result<Vec<OnPlate>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id AS attempt, p.label, t.n AS attempt_n, d.name AS design, a.name AS alloy,
                c.name AS client, o.due_on, v.id AS version, v.box_x_mm, v.box_y_mm, v.box_z_mm, v.volume_mm3,
                pp.x_mm, pp.y_mm, pp.up, pp.turn_deg, pp.size_x_mm, pp.size_y_mm, pp.size_z_mm, pp.outline, pp.left_at,
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
    version: DesignVersionId,
    volume_mm3: Option<f64>,
    pub(super) box_x_mm: f64,
    pub(super) box_y_mm: f64,
    pub(super) box_z_mm: f64,
}

impl Waiting {
    pub(super) fn model(&self) -> Model {
        Model {
            attempt: self.attempt,
            label: self.label.clone(),
            version: self.version,
            due_on: self.due_on,
            height_mm: self.box_z_mm,
            volume_mm3: self.volume_mm3,
        }
    }
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
                o.due_on, v.id AS version, v.volume_mm3, v.box_x_mm, v.box_y_mm, v.box_z_mm
         FROM (SELECT t.id AS attempt, p.label, t.n AS attempt_n, p.n, p.order_id, p.order_line_id {WAITS}) w
         JOIN orders o ON o.id = w.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = w.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         ORDER BY o.due_on NULLS LAST, o.number, w.n LIMIT $1"
    );
    let list = sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(MOST_WAITING).fetch_all(pool).await?;
    Ok((list, rows))
}

/// A piece of the drawing, with its origin at the top left as SVG has it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Drawn {
    pub(super) label: String,
    /// Its outline as an SVG path.
    pub(super) path: String,
    pub(super) middle_x: f64,
    pub(super) middle_y: f64,
    /// Size of the label's letters, so that it stays inside.
    pub(super) letters: f64,
}

/// Where something is drawn, before it is turned over for SVG.
pub(super) struct Drawing<'a> {
    pub(super) label: &'a str,
    pub(super) at_mm: [f64; 2],
    pub(super) size_mm: [f64; 2],
    /// From the corner of its box; empty where only the box is known.
    pub(super) outline: &'a [Vec<[f64; 2]>],
}

impl Drawing<'_> {
    pub(super) fn drawn(&self, plate_depth_mm: f64) -> Drawn {
        let [[x, y], [width, depth]] = [self.at_mm, self.size_mm];
        let corners = [vec![[0.0, 0.0], [width, 0.0], [width, depth], [0.0, depth]]];
        let loops = if self.outline.is_empty() { &corners[..] } else { self.outline };
        let mut path = String::new();
        for points in loops {
            for (n, [px, py]) in points.iter().enumerate() {
                let letter = if n == 0 { 'M' } else { 'L' };
                path.push_str(&format!("{letter}{:.2} {:.2}", x + px, plate_depth_mm - y - py));
            }
            path.push('Z');
        }
        // A letter is about 0.6 of its size wide; a fifth of the piece stays clear of them.
        let letters = (0.8 * width / (self.label.len().max(1) as f64 * 0.6)).min(depth * 0.6);
        Drawn {
            label: self.label.to_owned(),
            path,
            middle_x: x + width / 2.0,
            middle_y: plate_depth_mm - y - depth / 2.0,
            letters: letters.min(plate_depth_mm / 14.0),
        }
    }
}

/// The places of a proposed plate as they are drawn.
pub(super) fn draw_places(depth_mm: f64, places: &[Place]) -> Vec<Drawn> {
    let drawn = |place: &Place| {
        let [width, depth, _] = place.size_mm;
        let drawing = Drawing {
            label: &place.label,
            at_mm: [place.x_mm, place.y_mm],
            size_mm: [width, depth],
            outline: &place.outline,
        };
        drawing.drawn(depth_mm)
    };
    places.iter().map(drawn).collect()
}

/// The pieces on a plate as they are drawn, the plate's front edge below.
pub(super) fn drawing(plate: &PlateRow, pieces: &[OnPlate]) -> Vec<Drawn> {
    pieces
        .iter()
        .filter(|piece| piece.left_at.is_none() || piece.left_at == plate.ended_at)
        .filter_map(|piece| {
            let drawing = Drawing {
                label: &piece.label,
                at_mm: [piece.x_mm?, piece.y_mm?],
                size_mm: [
                    piece.size_x_mm.unwrap_or(piece.box_x_mm),
                    piece.size_y_mm.unwrap_or(piece.box_y_mm),
                ],
                outline: &piece.outline.0,
            };
            Some(drawing.drawn(plate.depth_mm))
        })
        .collect()
}
