//! Where an order's pieces are, as a forecast begins from it.

use foundry::plan::Flask;
use foundry::promise::{Group, Progress, Stage};
use sqlx::PgPool;

use super::view::{self, PieceRow};
use crate::clock::Moment;
use crate::id::{OrderId, PieceId};
use crate::plan::Grid;

/// An order as a forecast sees it.
#[derive(Debug, Default)]
pub(super) struct Pieces {
    pub(super) groups: Vec<Group>,
    /// For each line how many have to be good.
    pub(super) needed: Vec<u32>,
}

/// One piece as it stands, as an order of its own.
pub(super) async fn of_piece(
    pool: &PgPool,
    piece: PieceId,
    grid: &Grid,
    pour_min: i64,
) -> Result<Group, sqlx::Error> {
    let row = view::piece(pool, piece).await?;
    let stage = stage_of(&row.stage);
    Ok(Group { line: 0, pieces: 1, stage, progress: progress(&row, stage, grid, pour_min) })
}

/// The stage of that name.
pub(super) fn stage_of(name: &str) -> Stage {
    Stage::ALL.into_iter().find(|stage| stage.name() == name).unwrap_or(Stage::Print)
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
    let rows = view::pieces(pool, order).await?;
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
        let stage = stage_of(&row.stage);
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
    let lines = view::quantities(pool, order).await?;
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

/// The flask that pieces of this order would most likely go into, and how long it sets: the kind
/// that was used most of late for the alloy of most of its pieces, else the first there is.
pub(super) async fn likely_flask(
    pool: &PgPool,
    order: OrderId,
) -> Result<Option<(Flask, i64)>, sqlx::Error> {
    let alloy = view::alloy_of(pool, order).await?;
    let Some((alloy, flask_c)) = alloy else { return Ok(None) };
    let flask = match view::used_for(pool, &alloy, flask_c).await? {
        Some(used) => Some(used),
        None => view::first_kind(pool, &alloy, flask_c).await?,
    };
    let bench_set = view::bench_set_min(pool).await?;
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
