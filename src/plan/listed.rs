//! Loads as the plan page draws and lists them: agreed ones, and those of a proposal.

use std::collections::HashMap;

use sqlx::PgPool;

use super::grid::Grid;
use super::known::KnownKilns;
use super::lanes::{Firing, Window};
use super::view::{FlaskBrief, FlaskRow, KilnRow};
use crate::clock::{Day, Moment};
use crate::json::plan::{LoadJson, PlacedJson, PlanJson};
use crate::kiln_loads::{self, LoadState, Standing};
use crate::kilns::{FilledFlask, Inside, SegmentRow};
use crate::studio::Settings;
use crate::web::{Fault, Html};

/// A load in the list below the lanes.
pub(super) struct ListedLoad {
    pub(super) name: String,
    pub(super) link: Option<String>,
    pub(super) kiln: String,
    pub(super) state: &'static str,
    pub(super) starts: Moment,
    /// When it was held, or is to be by its programme.
    pub(super) held: Moment,
    pub(super) flasks: Vec<ListedFlask>,
    /// What putting a flask into this load carries.
    pub(super) place: String,
    pub(super) can_take: bool,
    pub(super) floor: (i32, i32),
    /// What the kiln draws, once that is computed.
    pub(super) energy: Option<Energy>,
    /// When it is held in a kiln that takes longer for its programme.
    pub(super) slow: Option<SlowEnd>,
}

/// The end of a burnout in a kiln that takes longer for its programme than that says.
pub(super) struct SlowEnd {
    /// When it is held, which opens into its working.
    pub(super) held: Html,
    pub(super) words: String,
}

/// What a firing draws and costs.
pub(super) struct Energy {
    pub(super) kwh: f64,
    /// The cost, which opens into its working; none without a price.
    pub(super) cost: Option<Html>,
}

/// A flask in a listed load.
pub(super) struct ListedFlask {
    pub(super) number: String,
    pub(super) alloy: String,
    pub(super) pour: Moment,
    /// When it is to be poured so far, if a proposal moves the pour of a load under way.
    pub(super) agreed: Option<Moment>,
    pub(super) due: Option<Day>,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) radius_mm: f64,
}

/// Loads that were agreed or are under way, as far as they lie in the window; with a proposal
/// only those that have begun, with the pours that it gives them.
pub(super) async fn agreed(
    pool: &PgPool,
    window: Window,
    grid: &Grid,
    settings: &Settings,
    flasks: &[FlaskBrief],
    known: &KnownKilns,
    proposed: Option<&PlanJson>,
) -> Result<(Vec<Firing>, Vec<ListedLoad>), Fault> {
    let (mut firings, mut loads) = (Vec::new(), Vec::new());
    let (from, to) = (grid.moment(window.from_min), grid.moment(window.to_min));
    let listed = kiln_loads::list_between(pool, from, to).await?;
    let ids: Vec<_> = listed.iter().map(|load| load.id).collect();
    let due: HashMap<i32, Day> =
        flasks.iter().filter_map(|flask| Some((flask.number, flask.due_on?))).collect();
    let moved: HashMap<&str, i64> = proposed
        .iter()
        .flat_map(|plan| &plan.pours)
        .map(|pour| (pour.flask.as_str(), pour.start_min))
        .collect();
    let pour_of = |flask: &Standing| {
        let moved = moved.get(flask.number.to_string().as_str()).map(|&at| grid.moment(at));
        flask.poured_at.or(moved).unwrap_or(flask.planned_pour_at)
    };
    let mut standing_in = kiln_loads::standing_in_each(pool, &ids).await?;
    for load in listed {
        if proposed.is_some() && load.state == LoadState::Planned {
            continue;
        }
        let Some(standing) = standing_in.remove(&load.id).filter(|one| !one.is_empty()) else {
            continue;
        };
        let filled: Vec<FilledFlask> = standing.iter().map(|flask| flask.filled).collect();
        let name = format!("Load {}", load.number);
        let link = Some(format!("/loads/{}", load.number));
        firings.push(Firing {
            kiln: load.kiln.clone(),
            name: name.clone(),
            link: link.clone(),
            starts: load.starts(),
            load_min: if load.started_at.is_some() { 0 } else { i64::from(settings.load_min) },
            segments: load.programme.0.clone(),
            inside: known.inside(&load.kiln, &load.family, &filled),
            facts: known.facts(&load.kiln).cloned(),
            flasks: standing.iter().map(|flask| flask.number.to_string()).collect(),
            pours: standing.iter().map(pour_of).collect(),
            pour_min: i64::from(settings.pour_min),
            proposed: false,
            held: load.held_at.is_some(),
        });
        loads.push(ListedLoad {
            name,
            link,
            state: load.state.words(),
            starts: load.starts(),
            held: load.held_at.unwrap_or_else(|| load.held_by_programme()),
            flasks: standing
                .iter()
                .map(|flask| ListedFlask {
                    number: flask.number.to_string(),
                    alloy: flask.alloy.clone(),
                    pour: pour_of(flask),
                    agreed: Some(flask.planned_pour_at)
                        .filter(|at| flask.poured_at.is_none() && *at != pour_of(flask)),
                    due: due.get(&flask.number).copied(),
                    x_mm: flask.x_mm,
                    y_mm: f64::from(load.depth_mm) - flask.y_mm,
                    radius_mm: f64::from(flask.filled.diameter_mm) / 2.0,
                })
                .collect(),
            place: format!("{}|{}", load.kiln_id, load.planned_start_at),
            can_take: load.state == LoadState::Planned,
            floor: (load.width_mm, load.depth_mm),
            energy: None,
            slow: None,
            kiln: load.kiln,
        });
    }
    Ok((firings, loads))
}

/// A load of a proposal that is not under way.
pub(super) struct Fresh<'a> {
    pub(super) load: &'a LoadJson,
    kiln: &'a KilnRow,
    members: Vec<(&'a FlaskRow, &'a PlacedJson)>,
    family: &'a str,
    /// The programme that its members ask for.
    pub(super) segments: &'a [SegmentRow],
}

impl Fresh<'_> {
    /// What stands in its kiln.
    pub(super) fn inside(&self, known: &KnownKilns) -> Option<Inside> {
        let filled: Vec<_> = self.members.iter().map(|(row, _)| row.filled).collect();
        known.inside(&self.kiln.name, self.family, &filled)
    }
}

/// The loads of a proposal that are not under way already; those are in it too, and are drawn as
/// they are.
pub(super) fn fresh<'a>(
    loads: impl Iterator<Item = &'a LoadJson>,
    flasks: &'a [FlaskRow],
    kilns: &'a [KilnRow],
    known: &'a KnownKilns,
) -> Vec<Fresh<'a>> {
    let numbered: HashMap<String, &FlaskRow> =
        flasks.iter().map(|flask| (flask.number.to_string(), flask)).collect();
    loads
        .filter_map(|load| {
            let members: Vec<(&FlaskRow, &PlacedJson)> = load
                .flasks
                .iter()
                .filter_map(|placed| Some((*numbered.get(&placed.id)?, placed)))
                .collect();
            if members.is_empty() || members.iter().any(|(row, _)| !row.waiting) {
                return None;
            }
            let programme = |row: &FlaskRow| {
                known.programmes.get_key_value(&(row.family.clone(), row.size_class.clone()))
            };
            let longest = members
                .iter()
                .filter_map(|(row, _)| programme(row))
                .max_by_key(|(key, segments)| (crate::kilns::total_minutes(segments), *key));
            let (family, segments) =
                longest.map_or(("", &[][..]), |(key, segments)| (key.0.as_str(), segments));
            let kiln = kilns.iter().find(|kiln| kiln.name == load.kiln)?;
            Some(Fresh { load, kiln, members, family, segments })
        })
        .collect()
}

/// The loads of a proposal that are not under way and lie in the window, with their numbers.
pub(super) fn in_window<'a>(
    plan: &'a PlanJson,
    flasks: &[FlaskBrief],
    window: Window,
) -> Vec<(usize, &'a LoadJson)> {
    let waiting: HashMap<String, bool> =
        flasks.iter().map(|flask| (flask.number.to_string(), flask.waiting)).collect();
    let pours: HashMap<&str, i64> =
        plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
    let members = |load: &LoadJson| -> Vec<bool> {
        load.flasks.iter().filter_map(|one| waiting.get(&one.id).copied()).collect()
    };
    let is_fresh = |load: &&LoadJson| {
        let members = members(load);
        !members.is_empty() && members.iter().all(|waiting| *waiting)
    };
    let shown = |load: &LoadJson| {
        let last = load.flasks.iter().filter_map(|one| pours.get(one.id.as_str())).max();
        window.shows(load.start_min, *last.unwrap_or(&load.start_min))
    };
    (1..).zip(plan.loads.iter().filter(is_fresh)).filter(|(_, load)| shown(load)).collect()
}

/// Those loads as they are drawn and listed.
pub(super) fn proposal(
    plan: &PlanJson,
    numbered: &[(usize, &LoadJson)],
    grid: &Grid,
    flasks: &[FlaskRow],
    kilns: &[KilnRow],
    settings: &Settings,
    known: &KnownKilns,
) -> (Vec<Firing>, Vec<ListedLoad>) {
    let (mut firings, mut loads) = (Vec::new(), Vec::new());
    let pours: HashMap<&str, i64> =
        plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
    let pour_of = |id: &str| pours.get(id).map(|&start| grid.moment(start));
    for one in &fresh(numbered.iter().map(|(_, load)| *load), flasks, kilns, known) {
        let Fresh { load, kiln, members, segments, .. } = one;
        let same = |(_, numbered): &&(usize, &LoadJson)| std::ptr::eq(*numbered, *load);
        let number = numbered.iter().find(same).map_or(0, |(number, _)| *number);
        let starts = grid.moment(load.start_min);
        let total = crate::kilns::total_minutes(segments);
        let name = format!("New load {number}");
        firings.push(Firing {
            kiln: kiln.name.clone(),
            name: name.clone(),
            link: None,
            starts,
            load_min: i64::from(settings.load_min),
            inside: one.inside(known),
            facts: known.facts(&kiln.name).cloned(),
            segments: segments.to_vec(),
            flasks: load.flasks.iter().map(|flask| flask.id.clone()).collect(),
            pours: load.flasks.iter().filter_map(|flask| pour_of(&flask.id)).collect(),
            pour_min: i64::from(settings.pour_min),
            proposed: true,
            held: false,
        });
        let mut listed: Vec<ListedFlask> = members
            .iter()
            .filter_map(|(row, placed)| {
                Some(ListedFlask {
                    number: placed.id.clone(),
                    alloy: row.alloy.clone(),
                    pour: pour_of(&placed.id)?,
                    agreed: None,
                    due: row.due_on,
                    x_mm: placed.x_mm,
                    y_mm: f64::from(kiln.depth_mm) - placed.y_mm,
                    radius_mm: f64::from(row.filled.diameter_mm) / 2.0,
                })
            })
            .collect();
        listed.sort_by_key(|flask| flask.pour);
        loads.push(ListedLoad {
            name,
            link: None,
            kiln: kiln.name.clone(),
            state: "proposed",
            starts,
            held: grid.moment(load.start_min + i64::from(settings.load_min) + total),
            flasks: listed,
            place: format!("{}|{}", kiln.id, starts),
            can_take: true,
            floor: (kiln.width_mm, kiln.depth_mm),
            energy: None,
            slow: None,
        });
    }
    (firings, loads)
}
