//! What the firings of a plan cost, and what it saved to look at the price of electricity.

use std::collections::HashMap;

use foundry::heat::{MINUTES_OF_WEEK, cost};
use foundry::plan::{DearHours, Flask, Load, Plan, Problem, SegmentKind, UnderWay};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sqlx::PgPool;

use super::instance::Instance;
use super::known::KnownKilns;
use super::listed::fresh;
use super::view::{FlaskRow, KilnRow};
use super::{store, think, view};
use crate::id::PlanId;
use crate::json::plan::{PlanJson, write_plan};
use crate::kilns::{HeatLine, heat_lines};
use crate::tariffs::{InForce, in_force};
use crate::web::{Fault, Show};

const WEEK: i64 = MINUTES_OF_WEEK as i64;
/// How long the plan that does not look at prices may take.
const SECONDS: f64 = 1.0;

/// A plan's firings that have not begun.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Firings {
    /// Minutes of ramps in dear hours.
    pub(super) dear_min: i64,
    /// What they cost; none when a kiln's draw is not known.
    pub(super) cost: Option<Decimal>,
    /// Weighted minutes late, and loads, of the whole plan.
    pub(super) late_min: i64,
    pub(super) loads: i64,
}

/// A plan that looks at prices, and one of the same flasks that does not.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Power {
    pub(super) with: Firings,
    pub(super) without: Firings,
    /// The currency of the costs.
    pub(super) currency: String,
}

impl Power {
    /// What it cost and saved to look at prices, in sentences; money is the owner's to see.
    pub(super) fn words(&self, show: &Show, owner: bool) -> Vec<String> {
        let (with, without) = (&self.with, &self.without);
        let money = |amount: Decimal| show.money_text(amount, &self.currency);
        let span = |minutes: i64| show.span(minutes as f64);
        let mut said = Vec::new();
        match (with.cost.filter(|_| owner), without.cost) {
            (Some(cost), Some(other)) if cost < other => said.push(format!(
                "Electricity for its firings costs {}, {} less than in a plan that does not look at prices.",
                money(cost),
                money(other - cost)
            )),
            (Some(cost), Some(other)) if cost > other => said.push(format!(
                "Electricity for its firings costs {}; a plan that does not look at prices came to {}.",
                money(cost),
                money(other)
            )),
            (Some(cost), _) => said.push(format!(
                "Electricity for its firings costs {}, as much as in a plan that does not look at prices.",
                money(cost)
            )),
            (None, _) => {}
        }
        said.push(if with.dear_min == without.dear_min {
            format!(
                "{} of heating lie in dear hours, with or without looking.",
                span(with.dear_min)
            )
        } else {
            format!(
                "{} of heating lie in dear hours instead of {}.",
                span(with.dear_min),
                span(without.dear_min)
            )
        });
        match with.late_min - without.late_min {
            0 => said.push("Nothing is later by it.".to_owned()),
            more if more > 0 => said.push(format!(
                "For it pieces are late by {} more, added together.",
                super::difference::span(more)
            )),
            _ => {}
        }
        match with.loads - without.loads {
            more if more > 0 => said.push(format!(
                "It takes {more} more {}.",
                if more == 1 { "load" } else { "loads" }
            )),
            _ => {}
        }
        said
    }
}

/// Notes at a plan what it saved to look at prices; nothing where prices do not count.
pub(super) async fn note(
    pool: &PgPool,
    plan: PlanId,
    instance: &Instance,
    made: Value,
) -> Result<(), Fault> {
    let problem = instance.problem()?;
    if problem.decisions.dear_hours.is_empty() {
        return Ok(());
    }
    let Some(tariff) = in_force(pool, instance.today()).await? else { return Ok(()) };
    let with: PlanJson = serde_json::from_value(made)?;
    let mut blind = problem.clone();
    blind.decisions.dear_hours.clear();
    let without = tokio::task::spawn_blocking(move || think::at_once(&blind, SECONDS))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))?;
    let Ok(without) = without else { return Ok(()) };
    let without = write_plan(&without, SECONDS);
    let studio = Studio {
        flasks: view::flasks(pool, None).await?,
        kilns: view::kilns(pool).await?,
        known: KnownKilns::read(pool).await?,
        tariff,
        problem,
    };
    let power = tokio::task::spawn_blocking(move || Power {
        with: studio.firings(&with),
        without: studio.firings(&without),
        currency: studio.tariff.currency.code().to_owned(),
    })
    .await
    .map_err(|error| Fault::Unforeseen(error.into()))?;
    Ok(store::note_power(pool, plan, &power).await?)
}

/// What firings are reckoned from.
struct Studio {
    flasks: Vec<FlaskRow>,
    kilns: Vec<KilnRow>,
    known: KnownKilns,
    tariff: InForce,
    problem: Problem,
}

impl Studio {
    fn firings(&self, plan: &PlanJson) -> Firings {
        let loads = fresh(plan.loads.iter(), &self.flasks, &self.kilns, &self.known);
        let asked: Vec<_> =
            loads.iter().map(|one| (one.segments.to_vec(), one.inside(&self.known))).collect();
        let lit = loads.iter().map(|one| one.load.start_min + self.problem.load_min);
        Firings {
            dear_min: dear_min(&self.problem, &Plan::from(plan.clone())),
            cost: heat_lines(&asked).iter().zip(lit).map(|(line, lit)| self.cost(line, lit)).sum(),
            late_min: plan.objective.weighted_tardiness,
            loads: plan.objective.loads,
        }
    }

    fn cost(&self, line: &HeatLine, lit_min: i64) -> Option<Decimal> {
        let start = u32::try_from(lit_min.rem_euclid(WEEK)).ok()?;
        let cost = cost(line.burnout.as_ref()?, &self.tariff.tariff, start).ok()?;
        Some(cost.value.amount())
    }
}

/// Minutes of a plan's ramps that fall into dear hours, of loads that have not begun.
pub(super) fn dear_min(problem: &Problem, plan: &Plan) -> i64 {
    let decisions = &problem.decisions;
    if decisions.dear_hours.is_empty() {
        return 0;
    }
    let flasks: HashMap<&str, &Flask> =
        problem.flasks.iter().map(|flask| (flask.id.as_str(), flask)).collect();
    let begun = |load: &&Load| {
        let same = |one: &UnderWay| one.kiln == load.kiln && one.start_min == load.start_min;
        decisions.under_way.iter().any(same)
    };
    let mut minutes = 0;
    for load in plan.loads.iter().filter(|load| !begun(load)) {
        // The longest programme; of those as long the greatest by family, then by size class.
        let programme = load
            .flasks
            .iter()
            .filter_map(|placed| flasks.get(placed.flask.as_str()))
            .filter_map(|flask| {
                let programme = problem.family(&flask.family)?.programme(&flask.size_class)?;
                Some((programme.minutes(), &flask.family, &flask.size_class))
            })
            .max();
        let programme =
            programme.and_then(|(_, family, size)| problem.programme_in(&load.kiln, family, size));
        let mut at = load.start_min + problem.load_min;
        for segment in programme.into_iter().flat_map(|programme| programme.segments) {
            let end = at + segment.minutes;
            if segment.kind == SegmentKind::Ramp {
                minutes += within_hours(&decisions.dear_hours, at, end);
            }
            at = end;
        }
    }
    minutes
}

/// Minutes between two that lie in hours of the week.
fn within_hours(hours: &[DearHours], from: i64, to: i64) -> i64 {
    (from.div_euclid(WEEK)..=to.div_euclid(WEEK))
        .flat_map(|week| hours.iter().map(move |one| (week * WEEK, one)))
        .map(|(week, one)| ((week + one.to_min).min(to) - (week + one.from_min).max(from)).max(0))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_in_hours_are_counted_over_the_end_of_a_week() {
        let hours = |from_min, to_min| DearHours { from_min, to_min, minutes_per_hour: 1 };
        let dear = [hours(0, 60), hours(10_000, WEEK)];
        assert_eq!(within_hours(&dear, 10_050, WEEK + 100), 30 + 60);
        assert_eq!(within_hours(&dear, 60, 10_000), 0);
        assert_eq!(within_hours(&dear, 0, 2 * WEEK), 2 * (60 + 80));
        assert_eq!(within_hours(&[], 0, WEEK), 0);
    }
}
