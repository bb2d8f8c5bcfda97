//! Two plans side by side.

use std::collections::HashSet;

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use foundry::plan::Plan;
use serde::Deserialize;
use sqlx::PgPool;

use crate::clock::Moment;
use crate::json::plan::PlanJson;
use crate::people::Signed;
use crate::plan::begun::BegunLoads;
use crate::plan::by_hand::numbered;
use crate::plan::difference::{Difference, span};
use crate::plan::grid::Grid;
use crate::plan::view::{self, ComparableRow};
use crate::web::{App, Fault, Form, Frame};

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    a: String,
    #[serde(default)]
    b: String,
}

/// A plan in figures.
struct Side {
    number: i32,
    late: String,
    least_late: String,
    loads: i64,
    least_loads: i64,
    ends: Option<Moment>,
    flasks: usize,
    left_out: usize,
}

impl Side {
    fn new(number: i32, plan: &PlanJson, grid: &Grid) -> Self {
        Self {
            number,
            late: span(plan.objective.weighted_tardiness),
            least_late: span(plan.bound.weighted_tardiness),
            loads: plan.objective.loads,
            least_loads: plan.bound.loads,
            ends: (!plan.pours.is_empty()).then(|| grid.moment(plan.objective.makespan_min)),
            flasks: plan.pours.len(),
            left_out: plan.unplanned.len(),
        }
    }
}

#[derive(Template, WebTemplate)]
#[template(path = "plan/compare.html")]
pub(crate) struct Compare {
    frame: Frame,
    form: Form,
    choices: Vec<(i32, String)>,
    sides: Option<(Side, Side)>,
    difference: Difference,
    /// How many flasks are planned in both, and in either.
    common: (usize, usize),
}

/// How many flasks two plans have in common, and how many there are in both together.
fn common(one: &ComparableRow, other: &ComparableRow) -> (usize, usize) {
    let set = |row: &'_ ComparableRow| row.flasks.iter().cloned().collect::<HashSet<String>>();
    let (one, other) = (set(one), set(other));
    (one.intersection(&other).count(), one.union(&other).count())
}

/// Plans of mostly the same flasks, the older first: the newest that has such a one, beside it.
fn alike(plans: &[ComparableRow]) -> Option<(i32, i32)> {
    plans.iter().enumerate().find_map(|(n, newer)| {
        let same = |older: &&ComparableRow| {
            let (both, either) = common(older, newer);
            either > 0 && 2 * both >= either
        };
        Some((plans[n + 1..].iter().find(same)?.number, newer.number))
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Compare, Fault> {
    let frame = signed.frame;
    let plans = view::comparable(&app.pool).await?;
    let (a, b) = match (wanted.a.parse().ok(), wanted.b.parse().ok()) {
        (None, None) => alike(&plans).map_or((None, None), |(a, b)| (Some(a), Some(b))),
        asked => asked,
    };
    let choices = plans
        .iter()
        .map(|row| {
            let made = frame.show.moment(row.made_at);
            (
                row.number,
                format!("{}, {}, {made}, {} flasks", row.number, row.state, row.flasks.len()),
            )
        })
        .collect();
    let name = |number: Option<i32>| number.map(|n| n.to_string()).unwrap_or_default();
    let form = Form::filled([("a", name(a)), ("b", name(b))]);
    let (mut sides, mut difference) = (None, Difference::default());
    if let (Some(a), Some(b)) = (a, b) {
        let zone = frame.show.zone.clone();
        let (one, one_json, one_grid) = numbered(&app.pool, a, zone.clone()).await?;
        let (other, other_json, other_grid) = numbered(&app.pool, b, zone).await?;
        let one = started(&app.pool, &plans, a, &one_json, &one_grid).await?.unwrap_or(one);
        let other = started(&app.pool, &plans, b, &other_json, &other_grid).await?.unwrap_or(other);
        difference = Difference::between((&one, &one_grid), (&other, &other_grid));
        sides = Some((Side::new(a, &one_json, &one_grid), Side::new(b, &other_json, &other_grid)));
    }
    let row = |number: Option<i32>| plans.iter().find(|row| Some(row.number) == number);
    let common = row(a).zip(row(b)).map_or((0, 0), |(one, other)| common(one, other));
    Ok(Compare { frame, form, choices, sides, difference, common })
}

/// A plan with its loads from when they were really started.
async fn started(
    pool: &PgPool,
    plans: &[ComparableRow],
    number: i32,
    plan: &PlanJson,
    grid: &Grid,
) -> Result<Option<Plan>, Fault> {
    let Some(row) = plans.iter().find(|row| row.number == number) else { return Ok(None) };
    let begun = BegunLoads::since(&mut *pool.acquire().await?, row.made_at).await?;
    Ok(Some(Plan::from(begun.as_started(plan, grid))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_of_mostly_the_same_flasks_are_set_side_by_side() {
        let plan = |number, flasks: &[&str]| ComparableRow {
            number,
            state: "replaced".to_owned(),
            made_at: Moment::default(),
            flasks: flasks.iter().map(|one| (*one).to_owned()).collect(),
        };
        let plans = [
            plan(7, &["5", "6", "7"]),
            plan(6, &["1", "2"]),
            plan(5, &["5", "6"]),
            plan(4, &["5", "6", "7"]),
        ];
        assert_eq!(alike(&plans), Some((5, 7)));
        // The newest has none beside it: the next that has.
        assert_eq!(alike(&[plan(8, &["9"]), plans[0].clone(), plans[3].clone()]), Some((4, 7)));
        assert_eq!(alike(&[plan(8, &["9"]), plan(7, &["1", "2"]), plan(6, &[])]), None);
        assert_eq!(common(&plans[0], &plans[2]), (2, 3));
    }
}
