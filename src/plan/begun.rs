//! Loads that were started, held against a proposal: the studio goes on while one waits for a yes.

use std::collections::{HashMap, HashSet};

use sqlx::PgConnection;

use super::grid::Grid;
use super::store;
use super::view::{self, BegunRow};
use crate::clock::Moment;
use crate::json::plan::{LoadJson, PlanJson};
use crate::web::Fault;

/// So many minutes before it is held a pour may be planned: nobody starts to the minute.
const GRACE_MIN: i64 = 15;

/// The loads that fire, and those that ended since a proposal was made.
pub(super) struct BegunLoads(Vec<BegunRow>);

impl BegunLoads {
    /// Reads those that a plan made at a moment has to reckon with.
    pub(super) async fn since(
        conn: &mut PgConnection,
        made_at: Moment,
    ) -> Result<Self, sqlx::Error> {
        Ok(Self(view::begun_loads(conn, made_at).await?))
    }

    /// The begun load that a load of the plan is: in the same kiln, with every flask that stands
    /// there, and none that was never put in.
    pub(super) fn of(&self, load: &LoadJson) -> Option<&BegunRow> {
        self.0.iter().find(|begun| is(begun, load))
    }

    /// Why a plan made at a moment is not of the studio as it stands, in sentences; none when its
    /// loads are those that were begun.
    pub(super) fn outdates(&self, plan: &PlanJson, grid: &Grid, made_at: Moment) -> Option<String> {
        let pours: HashMap<&str, i64> =
            plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
        let said: Vec<String> =
            self.0.iter().filter_map(|begun| said(begun, plan, &pours, grid, made_at)).collect();
        (!said.is_empty()).then(|| said.join(" "))
    }

    /// The plan with the moments at which its loads under way were really started. For planning
    /// their start is reckoned back from when they are held.
    pub(super) fn as_started(&self, plan: &PlanJson, grid: &Grid) -> PlanJson {
        let mut plan = plan.clone();
        for load in &mut plan.loads {
            if let Some(begun) = self.of(load) {
                load.start_min = grid.minute(begun.started_at);
            }
        }
        plan
    }
}

fn is(begun: &BegunRow, load: &LoadJson) -> bool {
    let members: HashSet<&str> = load.flasks.iter().map(|one| one.id.as_str()).collect();
    begun.kiln == load.kiln
        && begun.standing.iter().all(|flask| members.contains(flask.as_str()))
        && members.iter().all(|flask| begun.fired.iter().any(|one| one == flask))
}

/// What a begun load has to do with a plan, where that does not go together.
fn said(
    begun: &BegunRow,
    plan: &PlanJson,
    pours: &HashMap<&str, i64>,
    grid: &Grid,
    made_at: Moment,
) -> Option<String> {
    let number = begun.number;
    let kiln = &begun.kiln;
    let since = if begun.started_at > made_at { "has started since" } else { "is under way" };
    let touched: Vec<&LoadJson> = plan
        .loads
        .iter()
        .filter(|load| load.flasks.iter().any(|one| begun.fired.contains(&one.id)))
        .collect();
    let stands = if begun.standing.is_empty() { &begun.fired } else { &begun.standing };
    let stands = flasks(stands.iter().map(String::as_str));
    match touched.as_slice() {
        // Under way with flasks that were left out of the plan: its kiln was known not to be free.
        [] if !begun.fires || begun.started_at <= made_at => None,
        [] => Some(format!(
            "Load {number} {since}, in {kiln} with {stands}, which this plan has in no load."
        )),
        [load] if is(begun, load) => {
            let first = begun
                .standing
                .iter()
                .filter(|flask| !begun.poured.contains(flask))
                .filter_map(|flask| pours.get(flask.as_str()))
                .min()?;
            let ends = grid.minute(begun.started_at) + begun.burns_min;
            (begun.burns && begun.started_at > made_at && *first < ends - GRACE_MIN).then(|| {
                format!(
                    "Load {number} {since}, later than this plan has it: its first pour would come before its programme ends."
                )
            })
        }
        [load] if load.kiln == *kiln => Some(format!(
            "Load {number} {since}, in {kiln} with {stands}; this plan has {} in that load.",
            flasks(load.flasks.iter().map(|one| one.id.as_str()))
        )),
        [load] => Some(format!(
            "Load {number} {since}, in {kiln} with {stands}; this plan has {} in {}.",
            flasks(load.flasks.iter().map(|one| one.id.as_str())),
            load.kiln
        )),
        many => Some(format!(
            "Load {number} {since}, in {kiln} with {stands}, which this plan has in {} loads.",
            many.len()
        )),
    }
}

/// Flasks by their numbers, in order.
fn flasks<'a>(numbers: impl Iterator<Item = &'a str>) -> String {
    let mut numbers: Vec<&str> = numbers.collect();
    numbers.sort_by_key(|number| (number.len(), *number));
    match numbers.as_slice() {
        [one] => format!("flask {one}"),
        [all @ .., last] => format!("flasks {} and {last}", all.join(", ")),
        [] => "no flask".to_owned(),
    }
}

/// Withdraws the open proposal if it was made without being asked for and is not of the studio as
/// it stands any more; says whether it did. One that somebody asked for stays, and its page says
/// why it cannot be accepted.
pub(super) async fn withdraw(conn: &mut PgConnection) -> Result<bool, Fault> {
    let Some(made) = store::lock_made_by_itself(conn).await? else { return Ok(false) };
    let plan: PlanJson = serde_json::from_value(made.result.unwrap_or_default())?;
    let zone = crate::studio::Settings::load(&mut *conn).await?.zone();
    let grid = Grid::on(made.day_zero, zone);
    let begun = BegunLoads::since(conn, made.made_at).await?;
    let outdated = begun.outdates(&plan, &grid, made.made_at).is_some();
    if outdated {
        store::withdraw(conn, made.id).await?;
    }
    Ok(outdated)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use foundry::plan::Plan;
    use jiff::tz::TimeZone;

    use super::*;
    use crate::clock::Day;
    use crate::json::plan::{PlacedJson, write_plan};

    fn moment(minute: i64) -> Moment {
        grid().moment(minute)
    }

    fn grid() -> Grid {
        Grid::on(Day("2026-11-30".parse().unwrap()), TimeZone::UTC)
    }

    fn begun(standing: &[&str]) -> BegunRow {
        let own = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect::<Vec<_>>();
        BegunRow {
            number: 84,
            kiln: "Small".to_owned(),
            started_at: moment(600),
            fires: true,
            burns: true,
            burns_min: 700,
            standing: own(standing),
            fired: own(&["208", "209", "210"]),
            poured: Vec::new(),
        }
    }

    fn plan(loads: &[(&str, &[&str])]) -> PlanJson {
        let load = |(kiln, flasks): &(&str, &[&str])| LoadJson {
            kiln: (*kiln).to_owned(),
            start_min: 590,
            flasks: flasks
                .iter()
                .map(|id| PlacedJson { id: (*id).to_owned(), x_mm: 0.0, y_mm: 0.0 })
                .collect(),
        };
        let mut plan = write_plan(&Plan::default(), 0.0);
        plan.loads = loads.iter().map(load).collect();
        plan
    }

    fn said_of(begun_load: BegunRow, loads: &[(&str, &[&str])]) -> Option<String> {
        BegunLoads(vec![begun_load]).outdates(&plan(loads), &grid(), moment(500))
    }

    #[test]
    fn a_plan_goes_together_with_the_load_it_has_itself() {
        let all: &[&str] = &["208", "209", "210"];
        assert_eq!(said_of(begun(all), &[("Small", &["210", "208", "209"])]), None);
        // One was poured and cut off meanwhile, or all of them were.
        assert_eq!(said_of(begun(&["209", "210"]), &[("Small", all)]), None);
        assert_eq!(said_of(begun(&[]), &[("Small", all)]), None);
        // Made when one had left already.
        assert_eq!(said_of(begun(&["209", "210"]), &[("Small", &["209", "210"])]), None);
    }

    #[test]
    fn a_plan_with_other_flasks_in_a_begun_load_says_so() {
        let all: &[&str] = &["208", "209", "210"];
        let more = said_of(begun(all), &[("Small", &["208", "209", "210", "211", "212"])]).unwrap();
        assert_eq!(
            more,
            "Load 84 has started since, in Small with flasks 208, 209 and 210; this plan has \
             flasks 208, 209, 210, 211 and 212 in that load."
        );
        assert!(
            said_of(begun(all), &[("Small", &["208", "209"])]).unwrap().contains("208 and 209 in")
        );
        assert!(
            said_of(begun(all), &[("Big", all)]).unwrap().ends_with("208, 209 and 210 in Big.")
        );
        let split = said_of(begun(all), &[("Small", &["208", "209"]), ("Big", &["210"])]).unwrap();
        assert!(split.ends_with("in 2 loads."), "{split}");
        assert!(said_of(begun(all), &[]).unwrap().ends_with("in no load."));
        // It was under way before, with flasks that could not be planned for.
        let loads = BegunLoads(vec![begun(all)]);
        assert_eq!(loads.outdates(&plan(&[]), &grid(), moment(650)), None);
    }
}
