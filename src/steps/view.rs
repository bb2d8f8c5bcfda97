//! A stage's sheet as it stands: what was recorded, and what may be.

use askama::Template;
use serde_json::{Map, Value};
use sqlx::types::Json;
use sqlx::{FromRow, PgPool};
use uuid::Uuid;

use super::clocks::{self, Count};
use super::sheets::{Field, Kind, Step, sheet};
use super::store::{self, Subject};
use crate::clock::Moment;
use crate::pieces::Stage;
use crate::web::{Fault, Form, Frame, Html, Show};

#[derive(Clone, Debug, FromRow)]
struct RecordRow {
    id: Uuid,
    step: String,
    told: Json<Map<String, Value>>,
    at: Moment,
    person: Option<String>,
}

/// A step as it was recorded.
pub(super) struct Record {
    pub(super) id: Uuid,
    pub(super) told: Vec<Html>,
    pub(super) when: String,
    pub(super) person: String,
    pub(super) far_off: bool,
}

/// A step of the sheet.
pub(super) struct Line {
    pub(super) step: &'static Step,
    pub(super) records: Vec<Record>,
    form: Form,
    /// Whether its figures are shown: something in them is wrong, or its clock has counted them.
    pub(super) open: bool,
    /// What its clock has counted that is not recorded yet.
    clock: Option<Count>,
    /// Whether the thing has come so far and was not given up, or something of the step waits to
    /// be put right.
    possible: bool,
}

impl Line {
    /// Whether it may be recorded, or recorded again.
    pub(super) fn is_open(&self) -> bool {
        self.possible && (self.step.again || self.records.is_empty())
    }

    pub(super) fn is_done(&self) -> bool {
        !self.records.is_empty()
    }

    /// Whether a clock may be started for it.
    pub(super) fn has_clock(&self) -> bool {
        self.is_open() && self.step.counts_work()
    }

    /// The moment from which its clock counts, while it runs.
    pub(super) fn counts_from(&self) -> Option<Moment> {
        self.clock.as_ref()?.as_if_since()
    }

    /// Whether its clock has counted something, was stopped, and nothing was recorded.
    pub(super) fn has_counted(&self) -> bool {
        self.clock.as_ref().is_some_and(|count| count.running_since.is_none())
    }

    pub(super) fn inputs(&self) -> Vec<Html> {
        self.step.fields.iter().map(|field| input(&self.form, self.step, field)).collect()
    }
}

/// A field of a step in a form.
pub(super) fn input(form: &Form, step: &'static Step, field: &'static Field) -> Html {
    let input = form.input(field.name, field.words).within(step.key);
    match field.kind {
        Kind::Number { unit, .. } => {
            let input = input.kind("decimal").unit(unit);
            if field.needed { input.required().html() } else { input.html() }
        }
        Kind::OneOf(words) => {
            let words: Vec<_> = words.iter().map(|word| (*word, *word)).collect();
            input.options_or_none(words.as_slice()).html()
        }
        Kind::Tick => input.kind("check").html(),
        Kind::Words => input.with("maxlength=\"500\"").html(),
    }
}

/// How far a kiln may be from its programme before somebody is told.
const FAR_C: f64 = 25.0;

fn told_words(step: &Step, told: &Map<String, Value>, show: &Show) -> Vec<Html> {
    let mut words: Vec<Html> = step
        .fields
        .iter()
        .filter_map(|field| Some(field_words(field, told.get(field.name)?, show)))
        .collect();
    if let Some(asked) = told.get("asked_c").and_then(Value::as_f64) {
        words.push(Html::trusted(format!("the programme asks {}", show.celsius(asked))));
    }
    words
}

fn field_words(field: &Field, value: &Value, show: &Show) -> Html {
    let name = Html::escaped(&field.words.to_lowercase());
    match (field.kind, value) {
        (Kind::Number { unit, .. }, value) => {
            let number = value.as_f64().unwrap_or(0.0);
            let figure = match unit {
                "°C" => show.celsius(number),
                _ => {
                    let decimals = if (number - number.round()).abs() < 1e-9 { 0 } else { 1 };
                    show.number(number, decimals, unit)
                }
            };
            if field.name == "minutes" { figure } else { Html::trusted(format!("{name} {figure}")) }
        }
        (Kind::Tick, _) => name,
        (_, value) => Html::escaped(value.as_str().unwrap_or_default()),
    }
}

/// The sheet of a subject, step by step. A form that was refused is shown at its step.
pub(super) async fn lines(
    pool: &PgPool,
    show: &Show,
    subject: &Subject,
    refused: Option<(&str, Form)>,
) -> Result<Vec<Line>, sqlx::Error> {
    let rows: Vec<RecordRow> = sqlx::query_as(
        "SELECT s.id, s.step, s.told, s.at, p.name AS person FROM bench_steps s LEFT JOIN people p ON p.id = s.person_id
         WHERE s.subject = $1 AND s.stage = $2 AND s.attempt_id IS NOT DISTINCT FROM $3 AND s.taken_back_at IS NULL
         ORDER BY s.at, s.id",
    )
    .bind(&subject.name)
    .bind(subject.stage)
    .bind(subject.attempt)
    .fetch_all(pool)
    .await?;
    let record = |step: &Step, row: &RecordRow| {
        let figure = |name: &str| row.told.0.get(name).and_then(Value::as_f64);
        let far_off = figure("kiln_c")
            .zip(figure("asked_c"))
            .is_some_and(|(is, asked)| (is - asked).abs() > FAR_C);
        Record {
            id: row.id,
            told: told_words(step, &row.told.0, show),
            when: if show.day_of(row.at) == show.day_of(show.now) {
                show.time(row.at)
            } else {
                show.moment(row.at)
            },
            person: row.person.clone().unwrap_or_default(),
            far_off,
        }
    };
    let counts = clocks::counts(pool, subject).await?;
    let hindered = store::hindrance(&mut *pool.acquire().await?, subject).await?.is_some();
    let in_air = in_air(pool, subject).await?;
    let recorded = |step: &Step| rows.iter().any(|row| row.step == step.key);
    Ok(sheet(subject.stage)
        .iter()
        .filter(|step| !step.in_medium || !in_air || recorded(step))
        .map(|step| {
            let clock = counts.iter().find(|count| count.step == step.key).cloned();
            // A clock that was stopped has filled in the minutes.
            let stopped = clock.as_ref().filter(|count| count.running_since.is_none());
            let counted = stopped.map(|count| count.minutes(show.now).to_string());
            let runs = clock.as_ref().is_some_and(|count| count.running_since.is_some());
            let form =
                refused.as_ref().filter(|(key, _)| *key == step.key).map(|(_, form)| form.clone());
            let form = form.or_else(|| counted.map(|minutes| Form::filled([("minutes", minutes)])));
            Line {
                step,
                possible: !hindered || runs || form.is_some(),
                records: rows
                    .iter()
                    .filter(|row| row.step == step.key)
                    .map(|row| record(step, row))
                    .collect(),
                open: form.is_some(),
                form: form.unwrap_or_default(),
                clock,
            }
        })
        .collect())
}

/// Whether it is a cure in air, in which nothing is weighted down in a medium or rinsed of it.
async fn in_air(pool: &PgPool, subject: &Subject) -> Result<bool, sqlx::Error> {
    if subject.stage != Stage::Cure {
        return Ok(false);
    }
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM cure_batches WHERE 'cure:' || number = $1 AND medium = 'air')",
    )
    .bind(&subject.name)
    .fetch_one(pool)
    .await
}

#[derive(Template)]
#[template(path = "steps/panel.html")]
struct Panel<'a> {
    frame: &'a Frame,
    place: String,
    lines: Vec<Line>,
}

/// The sheet as a part of another page; empty when there is no such thing.
pub async fn panel(
    pool: &PgPool,
    frame: &Frame,
    stage: Stage,
    which: impl std::fmt::Display,
) -> Result<Html, Fault> {
    let mut conn = pool.acquire().await?;
    let which = which.to_string();
    let Some(subject) = store::subject(&mut conn, stage, &which).await? else {
        return Ok(Html::default());
    };
    drop(conn);
    let lines = lines(pool, &frame.show, &subject, None).await?;
    Ok(Html::of(&Panel { frame, place: super::pages::place(stage, &which), lines }))
}

/// The minutes that tasks at a piece add up to, in its last attempt; none when none was told.
pub async fn minutes_of(pool: &PgPool, label: &str) -> Result<Option<f64>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT sum((s.told ->> 'minutes')::double precision) FROM bench_steps s
         WHERE s.stage = 'finish' AND s.taken_back_at IS NULL AND s.attempt_id = (
             SELECT t.id FROM pieces p JOIN attempts t ON t.piece_id = p.id WHERE p.label = $1
             ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1)",
    )
    .bind(label)
    .fetch_one(pool)
    .await
}
