//! Where a ticket leads: to the page of the step that comes next.

use std::collections::HashMap;

use serde::Serialize;
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

const WHEREABOUTS: &str = "SELECT p.label, p.id AS piece, l.alloy_id AS alloy, p.stage::text AS stage, p.standing, t.id AS attempt,
        (SELECT b.number FROM plate_pieces x JOIN plates b ON b.id = x.plate_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS plate,
        (SELECT b.number FROM cure_batch_pieces x JOIN cure_batches b ON b.id = x.cure_batch_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS cure,
        (SELECT b.number FROM flask_pieces x JOIN flasks b ON b.id = x.flask_id WHERE x.attempt_id = t.id AND x.left_at IS NULL) AS flask";

const FROM_PIECES: &str = "FROM pieces p JOIN order_lines l ON l.id = p.order_line_id LEFT JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL";

async fn piece(pool: &PgPool, label: &str) -> Result<Option<String>, sqlx::Error> {
    let found: Option<Whereabouts> = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{WHEREABOUTS} {FROM_PIECES} WHERE p.label = $1"
    )))
    .bind(label)
    .fetch_optional(pool)
    .await?;
    let Some(at) = found else { return Ok(None) };
    match at.batch() {
        Some(batch) => Box::pin(next(pool, &batch)).await,
        None => Ok(Some(at.on_its_own())),
    }
}

impl Whereabouts {
    /// The batch that it is in, such as `plate:41`.
    fn batch(&self) -> Option<String> {
        [("plate", self.plate), ("cure", self.cure), ("flask", self.flask)]
            .into_iter()
            .find_map(|(kind, number)| Some(format!("{kind}:{}", number?)))
    }

    /// Where one that is in no batch is taken in hand.
    fn on_its_own(&self) -> String {
        let made = matches!(self.standing, Standing::Waiting | Standing::InHand | Standing::Ready);
        match (self.stage, self.attempt) {
            // Put into the next batch, already ticked there.
            (Stage::Print, Some(attempt)) if made => format!("/plates/new?pieces={attempt}"),
            (Stage::Cure, Some(attempt)) if made => format!("/cure/new?pieces={attempt}"),
            (Stage::Invest, _) if made => {
                format!("/flasks/new?alloy={}&piece={}", self.alloy, self.piece)
            }
            (Stage::Finish, _) if made => format!("/finishing/{}", self.label),
            _ => format!("/pieces/{}", self.label),
        }
    }
}

/// A thing with a ticket, and where it leads.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Lead {
    /// As it is typed: `1042-3`, `flask 201`.
    pub(super) name: String,
    /// None while no ticket was printed.
    pub(super) code: Option<String>,
    pub(super) place: String,
}

/// Most pieces whose tickets are told of.
const MOST: i64 = 3000;

#[derive(Debug, FromRow)]
struct OpenBatch {
    kind: String,
    number: i32,
    state: String,
    /// For a flask: the load that it stands in, or is to.
    load: Option<i32>,
    code: Option<String>,
}

#[derive(Debug, FromRow)]
struct OpenPiece {
    #[sqlx(flatten)]
    at: Whereabouts,
    code: Option<String>,
}

/// Where the ticket of everything leads that is being made, for devices that lose the network.
pub(super) async fn all_open(pool: &PgPool) -> Result<Vec<Lead>, sqlx::Error> {
    let batches: Vec<OpenBatch> = sqlx::query_as(
        "SELECT b.*, t.code FROM (
             SELECT 'load' AS kind, number, state, NULL::integer AS load FROM kiln_loads WHERE state IN ('planned', 'burning', 'held')
             UNION ALL SELECT 'plate', number, state, NULL FROM plates WHERE state IN ('open', 'printing')
             UNION ALL SELECT 'cure', number, state, NULL FROM cure_batches WHERE state IN ('open', 'washing', 'curing')
             UNION ALL SELECT 'flask', f.number, f.state,
                 (SELECT l.number FROM kiln_load_flasks x JOIN kiln_loads l ON l.id = x.kiln_load_id
                  WHERE x.flask_id = f.id AND x.left_at IS NULL AND l.state IN ('planned', 'burning'))
             FROM flasks f WHERE f.state NOT IN ('divested', 'cancelled')) b
         LEFT JOIN tickets t ON t.subject = b.kind || ':' || b.number",
    )
    .fetch_all(pool)
    .await?;
    let states: HashMap<(&str, i32), &str> =
        batches.iter().map(|b| ((b.kind.as_str(), b.number), b.state.as_str())).collect();
    let mut leads = Vec::new();
    let mut places = HashMap::new();
    for batch in &batches {
        let set = matches!(batch.state.as_str(), "setting" | "in_kiln");
        let load = batch.load.filter(|_| set);
        let place = match load.and_then(|load| Some((load, states.get(&("load", load))?))) {
            Some((load, state)) => step("load", load, state),
            None => step(&batch.kind, batch.number, &batch.state),
        };
        places.insert(format!("{}:{}", batch.kind, batch.number), place.clone());
        let name = format!("{} {}", batch.kind, batch.number);
        leads.push(Lead { name, code: batch.code.clone(), place });
    }
    let pieces: Vec<OpenPiece> = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{WHEREABOUTS}, k.code {FROM_PIECES} LEFT JOIN tickets k ON k.subject = 'piece:' || p.label
         WHERE p.standing IN ('waiting', 'in_hand') ORDER BY p.changed_at DESC LIMIT $1"
    )))
    .bind(MOST)
    .fetch_all(pool)
    .await?;
    leads.extend(pieces.into_iter().map(|piece| {
        let place = piece.at.batch().and_then(|batch| places.get(&batch).cloned());
        Lead {
            place: place.unwrap_or_else(|| piece.at.on_its_own()),
            name: piece.at.label,
            code: piece.code,
        }
    }));
    Ok(leads)
}
