//! One step recorded for many castings at once, with exceptions: what a tumbler or a bath does to
//! all that is in it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use sqlx::{FromRow, PgPool};

use super::sheets::{Step, sheet};
use super::{actions, forms, store, view};
use crate::clock::Moment;
use crate::people::Signed;
use crate::pieces::Stage;
use crate::web::{App, Fault, Form, Frame, Html, Refused};

const PLACE: &str = "/steps/finish";

/// What most castings go through together.
const USUAL: &str = "tumbled";

/// As many castings stand on the page.
const MOST: i64 = 300;

/// The steps that need nothing but minutes; what is measured differs from piece to piece.
fn choices() -> impl Iterator<Item = &'static Step> {
    let only_minutes = |step: &&Step| {
        step.fields.iter().filter(|field| field.needed).all(|field| field.name == "minutes")
    };
    sheet(Stage::Finish).iter().filter(only_minutes)
}

/// The step of a word, or the usual one.
fn chosen(key: &str) -> Option<&'static Step> {
    choices().find(|step| step.key == key).or_else(|| choices().find(|step| step.key == USUAL))
}

/// A casting at finish.
#[derive(Clone, Debug, FromRow)]
struct Casting {
    label: String,
    design: String,
    alloy: String,
    client: String,
    in_hand: bool,
}

async fn castings(pool: &PgPool) -> Result<Vec<Casting>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.label, d.name AS design, a.name AS alloy, c.name AS client, p.standing = 'in_hand' AS in_hand
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE p.stage = 'finish' AND p.standing IN ('waiting', 'in_hand')
         ORDER BY p.standing = 'waiting', o.due_on NULLS LAST, o.number, p.n LIMIT $1",
    )
    .bind(MOST)
    .fetch_all(pool)
    .await
}

/// What was recorded last, to be taken back by one tap.
struct Did {
    pieces: i64,
    at: i64,
}

#[derive(Template, WebTemplate)]
#[template(path = "steps/many.html")]
pub(crate) struct Many {
    frame: Frame,
    step: &'static Step,
    castings: Vec<Casting>,
    form: Form,
    did: Option<Did>,
}

impl Many {
    fn steps(&self) -> Vec<&'static Step> {
        choices().collect()
    }

    fn inputs(&self) -> Vec<Html> {
        self.step.fields.iter().map(|field| view::input(&self.form, self.step, field)).collect()
    }

    /// Whether a casting is ticked: as it was sent, or all that are in hand.
    fn is_ticked(&self, casting: &Casting) -> bool {
        match self.form.value("step") {
            "" => casting.in_hand,
            _ => self.form.all("pieces").any(|label| label == casting.label),
        }
    }
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Asked {
    #[serde(default)]
    step: String,
    /// When it was recorded, in microseconds.
    #[serde(default)]
    at: Option<i64>,
}

fn moment(micros: i64) -> Option<Moment> {
    jiff::Timestamp::from_microsecond(micros).ok().map(Moment)
}

async fn page(app: &App, signed: &Signed, asked: &Asked, form: Form) -> Result<Many, Fault> {
    let step = chosen(&asked.step).ok_or(Fault::NotFound)?;
    let did = match asked.at.and_then(|at| Some((at, moment(at)?))) {
        Some((at, moment)) => {
            let pieces = store::recorded_at(&app.pool, step, moment, signed.person).await?;
            Some(Did { pieces, at }).filter(|did| did.pieces > 0)
        }
        None => None,
    };
    let castings = castings(&app.pool).await?;
    Ok(Many { frame: signed.frame.clone(), step, castings, form, did })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(asked): Query<Asked>,
) -> Result<Many, Fault> {
    page(&app, &signed, &asked, Form::default()).await
}

/// Minutes shared equally by so many, in tenths that add up to all of them.
fn shares(minutes: f64, among: usize) -> Vec<f64> {
    let tenths = (minutes * 10.0).round() as usize;
    let each = |n: usize| tenths / among + usize::from(n < tenths % among);
    (0..among).map(|n| each(n) as f64 / 10.0).collect()
}

pub(crate) async fn record(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let asked = Asked { step: form.value("step").to_owned(), at: None };
    let step = chosen(&asked.step).ok_or(Fault::NotFound)?;
    let mut labels: Vec<String> = form.all("pieces").map(str::to_owned).collect();
    labels.sort_unstable();
    labels.dedup();
    if labels.is_empty() {
        form.wrong("pieces", "Tick at least one piece.");
    }
    let Some(told) = forms::read(step, &mut form) else {
        let page = page(&app, &signed, &asked, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let minutes = told.get("minutes").and_then(Value::as_f64);
    let shares = minutes.map(|minutes| shares(minutes, labels.len()));
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            for (n, label) in labels.iter().enumerate() {
                let found = store::subject(conn, Stage::Finish, label).await?;
                let Some(subject) = found else {
                    let gone = format!("There is no piece {label}. Nothing was recorded.");
                    return Err(Refused::conflict(gone).into());
                };
                let mut told = told.clone();
                if let Some(share) = shares.as_ref().and_then(|shares| shares.get(n)) {
                    told.insert("minutes".to_owned(), json!(share));
                }
                actions::record(conn, &signed, &subject, step, told).await?;
            }
            Ok(format!("{PLACE}?step={}&at={}", step.key, signed.now.0.as_microsecond()))
        })
        .await?;
    ended.or_show(page(&app, &signed, &asked, form)).await
}

/// Takes back what was recorded of all of them by one tap.
pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let step = chosen(form.value("step")).ok_or(Fault::NotFound)?;
    let at: i64 = form.value("at").parse().map_err(|_| Fault::NotFound)?;
    let at = moment(at).ok_or(Fault::NotFound)?;
    let asked = Asked { step: step.key.to_owned(), at: None };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::take_back_at(conn, &signed, step, at).await?;
            Ok(format!("{PLACE}?step={}", step.key))
        })
        .await?;
    ended.or_show(page(&app, &signed, &asked, form)).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_equal_to_a_tenth_and_add_up() {
        assert_eq!(shares(10.0, 3), [3.4, 3.3, 3.3]);
        assert_eq!(shares(12.5, 1), [12.5]);
        assert_eq!(shares(0.2, 3), [0.1, 0.1, 0.0]);
        let many = shares(47.3, 240);
        assert!((many.iter().sum::<f64>() - 47.3).abs() < 1e-9);
        assert!(many.iter().all(|share| (0.1..=0.2).contains(share)));
    }

    #[test]
    fn what_is_measured_piece_by_piece_is_not_recorded_for_many() {
        let keys: Vec<_> = choices().map(|step| step.key).collect();
        assert!(
            keys.contains(&"pickled") && keys.contains(&"tumbled") && keys.contains(&"cleaned")
        );
        assert!(!keys.contains(&"measured"));
        assert_eq!(chosen("measured").map(|step| step.key), Some(USUAL));
    }
}
