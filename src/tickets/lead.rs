//! Where a ticket leads: to the page of the step that comes next.

use sqlx::{FromRow, PgPool};

use super::code::Code;
use super::store;
use crate::id::{AlloyId, AttemptId, PieceId};
use crate::pieces::{Stage, Standing};

/// Where a piece is, and in what.
#[derive(Clone, Debug, FromRow)]
struct Whereabouts {
    label: String,
    piece: PieceId,
    alloy: AlloyId,
    stage: Stage,
    standing: Standing,
    attempt: Option<AttemptId>,
    plate: Option<i32>,
    cure: Option<i32>,
    flask: Option<i32>,
}

/// Where the ticket with a code leads; none when what was typed is no ticket's code.
///
/// # Errors
/// What the database says.
pub async fn place_of_code(pool: &PgPool, typed: &str) -> Result<Option<String>, sqlx::Error> {
    let Ok(code) = typed.parse::<Code>() else { return Ok(None) };
    match store::subject(pool, &code).await? {
        Some(subject) => next(pool, &subject).await,
        None => Ok(None),
    }
}

/// The address of the step that comes next for a subject; none when it does not exist.
pub(super) async fn next(pool: &PgPool, subject: &str) -> Result<Option<String>, sqlx::Error> {
    let Some((kind, number)) = subject.split_once(':') else { return Ok(None) };
    if kind == "piece" {
        return piece(pool, number).await;
    }
    let Ok(number) = number.parse::<i32>() else { return Ok(None) };
    let sql = match kind {
        "plate" => "SELECT state FROM plates WHERE number = $1",
        "cure" => "SELECT state FROM cure_batches WHERE number = $1",
        "flask" => "SELECT state FROM flasks WHERE number = $1",
        "load" => "SELECT state FROM kiln_loads WHERE number = $1",
        _ => return Ok(None),
    };
    let state: Option<String> = sqlx::query_scalar(sql).bind(number).fetch_optional(pool).await?;
    let Some(state) = state else { return Ok(None) };
    // What comes next for a flask that has set is done with its load.
    if kind == "flask"
        && matches!(state.as_str(), "setting" | "in_kiln")
        && let Some(load) = load_of(pool, number).await?
    {
        return Box::pin(next(pool, &format!("load:{load}"))).await;
    }
    Ok(Some(step(kind, number, &state)))
}

/// The load that a flask stands in, or is to.
async fn load_of(pool: &PgPool, flask: i32) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT l.number FROM kiln_load_flasks x JOIN flasks f ON f.id = x.flask_id JOIN kiln_loads l ON l.id = x.kiln_load_id
         WHERE f.number = $1 AND x.left_at IS NULL AND l.state IN ('planned', 'burning')",
    )
    .bind(flask)
    .fetch_optional(pool)
    .await
}

/// The page of a batch, at the form of its next step.
fn step(kind: &str, number: i32, state: &str) -> String {
    match (kind, state) {
        ("plate", "printing") => format!("/plates/{number}#finish"),
        ("plate", _) => format!("/plates/{number}"),
        ("cure", "curing") => format!("/cure/{number}#finish"),
        ("cure", _) => format!("/cure/{number}"),
        ("flask", "hot") => format!("/pours#pour-{number}"),
        ("flask", _) => format!("/flasks/{number}"),
        (_, "held") => "/pours".to_owned(),
        _ => format!("/loads/{number}"),
    }
}

async fn piece(pool: &PgPool, label: &str) -> Result<Option<String>, sqlx::Error> {
    let found: Option<Whereabouts> = sqlx::query_as(
        "SELECT p.label, p.id AS piece, l.alloy_id AS alloy, p.stage::text AS stage, p.standing, t.id AS attempt,
                (SELECT b.number FROM plate_pieces x JOIN plates b ON b.id = x.plate_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS plate,
                (SELECT b.number FROM cure_batch_pieces x JOIN cure_batches b ON b.id = x.cure_batch_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS cure,
                (SELECT b.number FROM flask_pieces x JOIN flasks b ON b.id = x.flask_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS flask
         FROM pieces p JOIN order_lines l ON l.id = p.order_line_id LEFT JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL WHERE p.label = $1",
    )
    .bind(label)
    .fetch_optional(pool)
    .await?;
    let Some(at) = found else { return Ok(None) };
    for (kind, number) in [("plate", at.plate), ("cure", at.cure), ("flask", at.flask)] {
        if let Some(number) = number {
            return Box::pin(next(pool, &format!("{kind}:{number}"))).await;
        }
    }
    let made = matches!(at.standing, Standing::Waiting | Standing::InHand | Standing::Ready);
    Ok(Some(match (at.stage, at.attempt) {
        // Put into the next batch, already ticked there.
        (Stage::Print, Some(attempt)) if made => format!("/plates/new?pieces={attempt}"),
        (Stage::Cure, Some(attempt)) if made => format!("/cure/new?pieces={attempt}"),
        (Stage::Invest, _) if made => format!("/flasks/new?alloy={}&piece={}", at.alloy, at.piece),
        (Stage::Finish, _) if made => format!("/finishing/{}", at.label),
        _ => format!("/pieces/{}", at.label),
    }))
}
