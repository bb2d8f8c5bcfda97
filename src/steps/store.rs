//! All SQL that writes steps, and what is looked up while one is recorded.

use serde_json::{Map, Value};
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::sheets::Step;
use crate::clock::Moment;
use crate::id::{AttemptId, PersonId};
use crate::pieces::Stage;

/// The thing that a stage's steps belong to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Subject {
    pub(super) stage: Stage,
    /// Such as `plate:41`.
    pub(super) name: String,
    /// For a piece: the attempt at it.
    pub(super) attempt: Option<AttemptId>,
}

/// Finds the plate, batch, flask or load of a number, or the last attempt at a piece; none
/// when there is no such thing.
pub(super) async fn subject(
    conn: &mut PgConnection,
    stage: Stage,
    which: &str,
) -> Result<Option<Subject>, sqlx::Error> {
    let name = format!("{}:{which}", super::sheets::kind(stage));
    if stage == Stage::Finish {
        let attempt = sqlx::query_scalar(
            "SELECT t.id FROM pieces p JOIN attempts t ON t.piece_id = p.id WHERE p.label = $1
             ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1",
        )
        .bind(which)
        .fetch_optional(conn)
        .await?;
        return Ok(attempt.map(|attempt| Subject { stage, name, attempt: Some(attempt) }));
    }
    let sql = match stage {
        Stage::Print => "SELECT EXISTS (SELECT 1 FROM plates WHERE number = $1)",
        Stage::Cure => "SELECT EXISTS (SELECT 1 FROM cure_batches WHERE number = $1)",
        Stage::Burnout => "SELECT EXISTS (SELECT 1 FROM kiln_loads WHERE number = $1)",
        _ => "SELECT EXISTS (SELECT 1 FROM flasks WHERE number = $1)",
    };
    let Ok(number) = which.parse::<i32>() else { return Ok(None) };
    let there: bool = sqlx::query_scalar(sql).bind(number).fetch_one(conn).await?;
    Ok(there.then_some(Subject { stage, name, attempt: None }))
}

/// Why a stage's steps cannot be worked on yet or any more, as the end of a sentence about the
/// thing; none while they can. They can also be told later, of what has gone on.
pub(super) async fn hindrance(
    conn: &mut PgConnection,
    subject: &Subject,
) -> Result<Option<&'static str>, sqlx::Error> {
    let sql = match subject.stage {
        Stage::Print => "SELECT state FROM plates WHERE number::text = split_part($1, ':', 2)",
        Stage::Cure => "SELECT state FROM cure_batches WHERE number::text = split_part($1, ':', 2)",
        Stage::Burnout => {
            "SELECT state FROM kiln_loads WHERE number::text = split_part($1, ':', 2)"
        }
        Stage::Invest | Stage::Cast => {
            "SELECT state FROM flasks WHERE number::text = split_part($1, ':', 2)"
        }
        Stage::Finish => "SELECT stage::text FROM pieces WHERE label = split_part($1, ':', 2)",
    };
    let state: String = sqlx::query_scalar(sql).bind(&subject.name).fetch_one(conn).await?;
    Ok(match (subject.stage, state.as_str()) {
        (_, "cancelled") => Some("was given up, so nothing is done to it any more"),
        (Stage::Cast, "in_kiln") => {
            Some("burns out still, so it cannot be cast yet. Record first that its load is held")
        }
        (Stage::Cast, "treeing" | "weighed" | "mixing" | "setting") => {
            Some("has not been burnt out, so it cannot be cast yet")
        }
        (Stage::Finish, stage) if stage != "finish" => {
            Some("is not cast and cut off yet, so there is nothing to finish")
        }
        _ => None,
    })
}

/// A step as it was recorded.
#[derive(Debug, FromRow)]
pub(super) struct Record {
    pub(super) id: Uuid,
    pub(super) at: Moment,
    /// Who recorded it.
    pub(super) person: Option<String>,
    /// The minutes that were told.
    pub(super) minutes: Option<f64>,
}

/// The last record of a step that was not taken back.
pub(super) async fn last_record(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &Step,
) -> Result<Option<Record>, sqlx::Error> {
    sqlx::query_as(
        "SELECT s.id, s.at, p.name AS person, (s.told ->> 'minutes')::double precision AS minutes
         FROM bench_steps s LEFT JOIN people p ON p.id = s.person_id
         WHERE s.subject = $1 AND s.stage = $2 AND s.step = $3 AND s.attempt_id IS NOT DISTINCT FROM $4
           AND s.taken_back_at IS NULL ORDER BY s.at DESC, s.id DESC LIMIT 1",
    )
    .bind(&subject.name)
    .bind(subject.stage)
    .bind(step.key)
    .bind(subject.attempt)
    .fetch_optional(conn)
    .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &Step,
    told: Map<String, Value>,
    now: Moment,
    person: PersonId,
) -> Result<Uuid, sqlx::Error> {
    let id = Uuid::now_v7();
    sqlx::query(
        "INSERT INTO bench_steps (id, stage, subject, attempt_id, step, again, told, at, person_id)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(id)
    .bind(subject.stage)
    .bind(&subject.name)
    .bind(subject.attempt)
    .bind(step.key)
    .bind(step.again)
    .bind(Value::Object(told))
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(id)
}

/// Takes a record back; says whether it was still there.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    subject: &Subject,
    id: Uuid,
    now: Moment,
    person: PersonId,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE bench_steps SET taken_back_at = $3, taken_back_by = $4
         WHERE id = $1 AND subject = $2 AND taken_back_at IS NULL",
    )
    .bind(id)
    .bind(&subject.name)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// How many castings a step was recorded for by one tap, and not taken back.
pub(super) async fn recorded_at(
    pool: &PgPool,
    step: &Step,
    at: Moment,
    person: PersonId,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) FROM bench_steps
         WHERE stage = 'finish' AND step = $1 AND at = $2 AND person_id = $3 AND taken_back_at IS NULL",
    )
    .bind(step.key)
    .bind(at)
    .bind(person)
    .fetch_one(pool)
    .await
}

/// Takes back what was recorded for many castings by one tap.
pub(super) async fn take_back_at(
    conn: &mut PgConnection,
    step: &Step,
    at: Moment,
    now: Moment,
    person: PersonId,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE bench_steps SET taken_back_at = $4, taken_back_by = $3
         WHERE stage = 'finish' AND step = $1 AND at = $2 AND person_id = $3 AND taken_back_at IS NULL",
    )
    .bind(step.key)
    .bind(at)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() > 0)
}

/// A segment of a load's programme.
#[derive(Clone, Copy, Debug, PartialEq, serde::Deserialize)]
pub(super) struct Segment {
    pub(super) target_c: f64,
    pub(super) minutes: f64,
}

/// The programme of a kiln load, and when it was started.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Firing {
    pub(super) programme: Json<Vec<Segment>>,
    pub(super) started_at: Option<Moment>,
}

pub(super) async fn firing(
    conn: &mut PgConnection,
    subject: &Subject,
) -> Result<Firing, sqlx::Error> {
    sqlx::query_as(
        "SELECT programme, started_at FROM kiln_loads WHERE number = split_part($1, ':', 2)::integer",
    )
    .bind(&subject.name)
    .fetch_one(conn)
    .await
}
