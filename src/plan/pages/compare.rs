//! Two plans side by side.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::clock::Moment;
use crate::json::plan::PlanJson;
use crate::people::Signed;
use crate::plan::by_hand::numbered;
use crate::plan::difference::{Difference, span};
use crate::plan::grid::Grid;
use crate::plan::view;
use crate::web::{App, Fault, Form, Frame};

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    a: Option<i32>,
    b: Option<i32>,
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
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Compare, Fault> {
    let frame = signed.frame;
    let plans = view::comparable(&app.pool).await?;
    let a = wanted.a.or_else(|| plans.get(1).map(|plan| plan.0));
    let b = wanted.b.or_else(|| plans.first().map(|plan| plan.0));
    let choices = plans
        .iter()
        .map(|(number, state, at)| {
            (*number, format!("{number}, {state}, {}", frame.show.moment(*at)))
        })
        .collect();
    let name = |number: Option<i32>| number.map(|n| n.to_string()).unwrap_or_default();
    let form = Form::filled([("a", name(a)), ("b", name(b))]);
    let (mut sides, mut difference) = (None, Difference::default());
    if let (Some(a), Some(b)) = (a, b) {
        let zone = frame.show.zone.clone();
        let (one, one_json, one_grid) = numbered(&app.pool, a, zone.clone()).await?;
        let (other, other_json, other_grid) = numbered(&app.pool, b, zone).await?;
        difference = Difference::between((&one, &one_grid), (&other, &other_grid));
        sides = Some((Side::new(a, &one_json, &one_grid), Side::new(b, &other_json, &other_grid)));
    }
    Ok(Compare { frame, form, choices, sides, difference })
}
