//! Where an order's pieces are, as a forecast begins from it.

use foundry::plan::Flask;
use foundry::promise::{Group, Progress, Stage};
use sqlx::{FromRow, PgPool};

use crate::clock::Moment;
use crate::id::OrderId;
use crate::plan::Grid;

/// An order as a forecast sees it.
#[derive(Debug, Default)]
pub(super) struct Pieces {
    pub(super) groups: Vec<Group>,
    /// For each line how many have to be good.
    pub(super) needed: Vec<u32>,
}

#[derive(Debug, FromRow)]
struct PieceRow {
    line: i32,
    stage: String,
    standing: String,
    entered_at: Option<Moment>,
    since_at: Moment,
    set_from_at: Option<Moment>,
    planned_pour_at: Option<Moment>,
    poured: bool,
    pieces: i64,
}

/// Pieces that stand together, and what each line needs.
pub(super) async fn of_order(
    pool: &PgPool,
    order: OrderId,
    spares: u32,
    grid: &Grid,
    pour_min: i64,
    now: Moment,
) -> Result<Pieces, sqlx::Error> {
    let rows: Vec<PieceRow> = sqlx::query_as(
        "SELECT l.n AS line, p.stage::text AS stage, p.standing, s.entered_at, p.changed_at AS since_at,
                f.set_from_at, lf.planned_pour_at, coalesce(f.state IN ('poured', 'divested'), false) AS poured,
                count(*) AS pieces
         FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
         LEFT JOIN attempts a ON a.piece_id = p.id AND a.ended_at IS NULL
         LEFT JOIN attempt_stages s ON s.attempt_id = a.id AND s.stage = p.stage AND s.finished_at IS NULL AND s.failed_at IS NULL
         LEFT JOIN flask_pieces fp ON fp.attempt_id = a.id AND fp.left_at IS NULL
         LEFT JOIN flasks f ON f.id = fp.flask_id
         LEFT JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL
         WHERE p.order_id = $1 AND p.standing <> 'cancelled'
         GROUP BY l.n, p.stage, p.standing, s.entered_at, p.changed_at, f.id, f.set_from_at, f.state, lf.planned_pour_at
         ORDER BY l.n, p.stage, p.changed_at",
    )
    .bind(order)
    .fetch_all(pool)
    .await?;
    if rows.is_empty() {
        return not_begun(pool, order, spares, grid.minute(now)).await;
    }
    let mut pieces = Pieces::default();
    let mut lines: Vec<i32> = Vec::new();
    for row in rows {
        let line = lines.iter().position(|n| *n == row.line).unwrap_or_else(|| {
            lines.push(row.line);
            pieces.needed.push(0);
            lines.len() - 1
        });
        let count = u32::try_from(row.pieces).unwrap_or(u32::MAX);
        pieces.needed[line] = pieces.needed[line].saturating_add(count);
        let stage =
            Stage::ALL.into_iter().find(|stage| stage.name() == row.stage).unwrap_or(Stage::Print);
        pieces.groups.push(Group {
            line,
            pieces: count,
            stage,
            progress: progress(&row, stage, grid, pour_min),
        });
    }
    Ok(pieces)
}

fn progress(row: &PieceRow, stage: Stage, grid: &Grid, pour_min: i64) -> Progress {
    if matches!(row.standing.as_str(), "ready" | "handed_over") {
        return Progress::Ready;
    }
    let in_flask = matches!(stage, Stage::Invest | Stage::Burnout | Stage::Cast) && !row.poured;
    if let (true, Some(pour)) = (in_flask, row.planned_pour_at) {
        return Progress::Planned { poured_min: grid.minute(pour) + pour_min };
    }
    if stage == Stage::Burnout
        && let Some(set_from) = row.set_from_at
    {
        return Progress::Waiting { since_min: grid.minute(set_from) };
    }
    match (row.standing.as_str(), row.entered_at) {
        ("in_hand", entered) => {
            Progress::InHand { since_min: grid.minute(entered.unwrap_or(row.since_at)) }
        }
        _ => Progress::Waiting { since_min: grid.minute(row.since_at) },
    }
}

/// An order that nobody has begun: all pieces of all lines wait for the printer.
async fn not_begun(
    pool: &PgPool,
    order: OrderId,
    spares: u32,
    now_min: i64,
) -> Result<Pieces, sqlx::Error> {
    let lines: Vec<i32> = sqlx::query_scalar(
        "SELECT quantity FROM order_lines WHERE order_id = $1 AND removed_at IS NULL ORDER BY n",
    )
    .bind(order)
    .fetch_all(pool)
    .await?;
    let needed: Vec<u32> =
        lines.into_iter().map(|quantity| u32::try_from(quantity).unwrap_or(0)).collect();
    let groups = needed
        .iter()
        .enumerate()
        .map(|(line, &pieces)| Group {
            line,
            pieces: pieces.saturating_add(spares),
            stage: Stage::Print,
            progress: Progress::Waiting { since_min: now_min },
        })
        .collect();
    Ok(Pieces { groups, needed })
}

#[derive(Debug, FromRow)]
struct FlaskRow {
    diameter_mm: i32,
    height_mm: i32,
    size_class: String,
    family: String,
    flask_c: f64,
    alloy: String,
}

/// The flask that pieces of this order would most likely go into, and how long it sets: the kind
/// that was used most of late for the alloy of most of its pieces, else the first there is.
pub(super) async fn likely_flask(
    pool: &PgPool,
    order: OrderId,
) -> Result<Option<(Flask, i64)>, sqlx::Error> {
    let alloy: Option<(String, f64)> = sqlx::query_as(
        "SELECT a.name, a.flask_c FROM order_lines l JOIN alloys a ON a.id = l.alloy_id
         WHERE l.order_id = $1 AND l.removed_at IS NULL GROUP BY a.id ORDER BY sum(l.quantity) DESC, a.name LIMIT 1",
    )
    .bind(order)
    .fetch_optional(pool)
    .await?;
    let Some((alloy, flask_c)) = alloy else { return Ok(None) };
    let used: Option<FlaskRow> = sqlx::query_as(
        "WITH last AS (SELECT f.flask_type_id, f.family_id FROM flasks f JOIN alloys a ON a.id = f.alloy_id
                       ORDER BY (a.name = $1) DESC, f.number DESC LIMIT 30)
         SELECT t.diameter_mm, t.height_mm, t.size_class, b.name AS family, $2::float8 AS flask_c, $1 AS alloy
         FROM last JOIN flask_types t ON t.id = last.flask_type_id JOIN burnout_families b ON b.id = last.family_id
         GROUP BY t.id, b.id ORDER BY count(*) DESC, t.diameter_mm LIMIT 1",
    )
    .bind(&alloy)
    .bind(flask_c)
    .fetch_optional(pool)
    .await?;
    let flask = match used {
        Some(flask) => Some(flask),
        None => {
            sqlx::query_as(
                "SELECT t.diameter_mm, t.height_mm, t.size_class, b.name AS family, $2::float8 AS flask_c, $1 AS alloy
                 FROM flask_types t, burnout_families b
                 WHERE t.retired_at IS NULL AND b.retired_at IS NULL
                   AND EXISTS (SELECT 1 FROM programme_segments s WHERE s.family_id = b.id AND s.size_class = t.size_class)
                 ORDER BY (b.pattern = 'resin') DESC, (t.size_class = 'M') DESC, t.owned DESC, b.name LIMIT 1",
            )
            .bind(&alloy)
            .bind(flask_c)
            .fetch_optional(pool)
            .await?
        }
    };
    let bench_set: Option<i32> = sqlx::query_scalar(
        "SELECT i.bench_set_min FROM investments i LEFT JOIN flasks f ON f.investment_id = i.id
         WHERE i.retired_at IS NULL ORDER BY f.number DESC NULLS LAST, i.name LIMIT 1",
    )
    .fetch_optional(pool)
    .await?;
    Ok(flask.map(|row| {
        let flask = Flask {
            id: "another flask".to_owned(),
            diameter_mm: f64::from(row.diameter_mm),
            height_mm: f64::from(row.height_mm),
            size_class: row.size_class,
            family: row.family,
            ready_min: 0,
            latest_start_min: None,
            cast_temp_c: row.flask_c.round() as i64,
            alloy: row.alloy,
            lead_min: 0,
            due_min: 0,
            weight: 1,
        };
        (flask, i64::from(bench_set.unwrap_or(120)))
    }))
}
