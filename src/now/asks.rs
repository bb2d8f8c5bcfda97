//! What stands open, as things to do with the figures they need.

use std::collections::{BTreeMap, HashMap};

use super::model::{Ask, Pressing, Step, Told};
use super::view::{CureRow, FinishingRow, FlaskRow, LoadRow, PlateRow, WaitingRow};
use crate::clock::Moment;
use crate::flasks::FlaskState;
use crate::kiln_loads::{Setting, settings};
use crate::metal::fumes_of;
use crate::web::{Html, Show};

/// Flasks are brought to the kiln this long before their load is to start.
const LOADING_MIN: i64 = 20;

/// From weighing the powder to a filled flask, and a little.
const MIXING_MIN: i64 = 30;

fn step(action: String, words: impl Into<String>, version: i64) -> Step {
    Step { action, words: words.into(), version, told: Told::Nothing }
}

fn counted(n: i64, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

pub(super) fn plate(row: &PlateRow, show: &Show) -> Ask {
    let place = format!("/plates/{}", row.number);
    let mut figures = vec![("pieces", show.count(row.pieces))];
    if row.printing {
        return Ask {
            opens: row.free_at,
            closes: row.free_at,
            can_wait: true,
            due_on: row.due_on,
            figures,
            step: Some(step(format!("{place}/finish"), "All came out", row.version)),
            failed: Some(format!("{place}#finish")),
            ..Ask::new(
                format!("Take plate {} off {}", row.number, row.printer),
                place,
                Pressing::Idle,
            )
        };
    }
    if let Some(other) = row.after {
        return Ask {
            opens: row.free_at,
            due_on: row.due_on,
            figures,
            after: Some(format!("after plate {other}")),
            ..Ask::new(
                format!("Start plate {} on {}", row.number, row.printer),
                place,
                Pressing::Idle,
            )
        };
    }
    figures.push(("layer", show.number(f64::from(row.layer_um), 0, "µm")));
    figures.push(("resin", Html::escaped(&row.resin)));
    Ask {
        opens: row.free_at,
        due_on: row.due_on,
        figures,
        step: Some(step(format!("{place}/start"), "It prints", row.version)),
        ..Ask::new(format!("Start plate {} on {}", row.number, row.printer), place, Pressing::Idle)
    }
}

pub(super) fn cure(row: &CureRow, show: &Show) -> Ask {
    let (place, number) = (format!("/cure/{}", row.number), row.number);
    let wash = ("wash", show.whole_minutes(row.wash_minutes));
    let cure = ("cure", show.whole_minutes(row.cure_minutes));
    let medium = ("in", Html::escaped(&row.medium));
    let pieces = ("patterns", show.count(row.pieces));
    let base = Ask { due_on: row.due_on, ..Ask::new(String::new(), place.clone(), Pressing::Lost) };
    match row.state.as_str() {
        "washing" => Ask {
            what: format!("Cure batch {number}: out of the wash"),
            opens: row.clock_at,
            closes: row.clock_at,
            figures: vec![cure, medium, pieces],
            step: Some(step(format!("{place}/washed"), "Washed: the cure begins", row.version)),
            ..base
        },
        "curing" => Ask {
            what: format!("Cure batch {number}: out of the light"),
            opens: row.clock_at,
            closes: row.clock_at,
            figures: vec![pieces],
            step: Some(step(format!("{place}/finish"), "All cured", row.version)),
            failed: Some(format!("{place}#finish")),
            ..base
        },
        _ => {
            let washed = row.wash_minutes > 0;
            let solvent = ("in", Html::escaped(&row.wash));
            Ask {
                what: format!(
                    "Cure batch {number}: begin the {}",
                    if washed { "wash" } else { "cure" }
                ),
                pressing: Pressing::Idle,
                figures: if washed {
                    vec![wash, solvent, pieces]
                } else {
                    vec![cure, medium, pieces]
                },
                step: Some(step(
                    format!("{place}/begin"),
                    if washed { "The wash begins" } else { "The cure begins" },
                    row.version,
                )),
                ..base
            }
        }
    }
}

/// What the controllers are to be set to before hot flasks are poured and after, by flask: before
/// only of the next one of each kiln.
pub(super) fn controllers(rows: &[FlaskRow]) -> HashMap<i32, Vec<(&'static str, Setting)>> {
    let mut loads: BTreeMap<i32, Vec<&FlaskRow>> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.state == FlaskState::Hot) {
        loads.entry(row.load.unwrap_or_default()).or_default().push(row);
    }
    let mut told: HashMap<i32, Vec<(&'static str, Setting)>> = HashMap::new();
    for flasks in loads.into_values() {
        let Some((kiln_c, cool)) = flasks[0].kiln_c.zip(flasks[0].cool_min_per_100c) else {
            continue;
        };
        let set = settings(kiln_c, flasks.iter().map(|row| row.flask_c), cool);
        for (n, set) in set.into_iter().enumerate() {
            let Some(set) = set else { continue };
            let (of, when) = match n.checked_sub(1) {
                Some(before) => (flasks[before], "after it, controller to"),
                None => (flasks[0], "first, controller to"),
            };
            told.entry(of.number).or_default().push((when, set));
        }
    }
    told
}

/// What a flask asks for; nothing while it sets for a load that is planned.
pub(super) fn flask(
    row: &FlaskRow,
    controllers: &HashMap<i32, Vec<(&'static str, Setting)>>,
    show: &Show,
    now: Moment,
) -> Option<Ask> {
    let (place, number) = (format!("/flasks/{}", row.number), row.number);
    let planned = if row.load.is_some() { Pressing::Slips } else { Pressing::Waits };
    let needed = |before: i64| row.load_starts_at.map(|starts| starts.plus_minutes(-before));
    let set_min = i64::from(row.bench_set_min);
    let ask = |what: String, pressing| Ask::new(what, place.clone(), pressing);
    let grams = |grams: Option<f64>| grams.map(|grams| show.bulk_grams(grams));
    let pieces = ("pieces", show.count(row.pieces));
    Some(match row.state {
        FlaskState::Treeing => Ask {
            closes: needed(set_min + 2 * MIXING_MIN),
            due_on: row.due_on,
            figures: vec![pieces, ("alloy", Html::escaped(&row.alloy))],
            ..ask(format!("Weigh the tree of flask {number}"), planned)
        },
        FlaskState::Weighed => Ask {
            closes: needed(set_min + MIXING_MIN),
            due_on: row.due_on,
            figures: [("powder", grams(row.powder_g)), ("water", grams(row.water_g))]
                .into_iter()
                .filter_map(|(name, figure)| Some((name, figure?)))
                .collect(),
            step: Some(Step {
                told: Told::Slurry,
                ..step(format!("{place}/mix"), "Powder is in: clock on", row.version)
            }),
            ..ask(format!("Mix for flask {number}"), planned)
        },
        FlaskState::Mixing => {
            let (doing, until, ends) = mixing(row, now);
            Ask {
                closes: ends.or(row.mix_started_at),
                figures: until
                    .map(|until| ("until", Html::escaped(&show.clock(until))))
                    .into_iter()
                    .collect(),
                step: Some(step(format!("{place}/set"), "Filled: leave it to set", row.version)),
                failed: Some(format!("{place}#lost")),
                ..ask(format!("Flask {number}: {doing}"), Pressing::Lost)
            }
        }
        FlaskState::Setting if row.load.is_none() => Ask {
            place: "/plan".to_owned(),
            opens: row.set_from_at,
            closes: row.latest_start_at,
            due_on: row.due_on,
            ends: "to be fired by",
            figures: vec![pieces, ("alloy", Html::escaped(&row.alloy))],
            ..ask(format!("Flask {number} has set: plan its burnout"), Pressing::Slips)
        },
        FlaskState::Hot => Ask {
            place: format!("/pours#pour-{number}"),
            closes: row.hot_until,
            cautions: fumes_of(&row.metals),
            figures: [
                ("charge", row.charge_g.map(|grams| show.grams(grams))),
                ("melt", Some(show.celsius(row.melt_c))),
                ("flask", Some(show.celsius(row.flask_c))),
                ("planned", row.planned_pour_at.map(|at| Html::escaped(&show.time(at)))),
            ]
            .into_iter()
            .filter_map(|(name, figure)| Some((name, figure?)))
            .collect(),
            controller: controllers
                .get(&row.number)
                .into_iter()
                .flatten()
                .map(|(when, set)| (*when, Html::escaped(&set.figures(show))))
                .collect(),
            ..ask(format!("Pour flask {number} in {}", row.alloy), Pressing::Lost)
        },
        FlaskState::Poured => {
            let pressing = if row.quench_at.is_some() { Pressing::Lost } else { Pressing::Idle };
            Ask {
                opens: row.quench_at,
                closes: row.quench_at,
                due_on: row.due_on,
                figures: vec![pieces, ("alloy", Html::escaped(&row.alloy))],
                ..ask(format!("Flask {number}: quench, divest, cut off"), pressing)
            }
        }
        _ => return None,
    })
}

/// What is being done at the mix, until when, and when the slurry loses its gloss.
fn mixing(row: &FlaskRow, now: Moment) -> (String, Option<Moment>, Option<Moment>) {
    let steps = row.mix_clock.as_ref().map_or(&[][..], |steps| &steps.0);
    let at = |minutes: f64| {
        row.mix_started_at.map(|start| start.plus_seconds((minutes * 60.0).round() as i64))
    };
    let ends = steps.last().and_then(|step| at(step.end_min));
    match steps.iter().find(|step| at(step.end_min).is_some_and(|end| end > now)) {
        Some(step) => (step.name.clone(), at(step.end_min), ends),
        None => ("the mix is past its gloss-off".to_owned(), None, ends),
    }
}

pub(super) fn load(row: &LoadRow, show: &Show) -> Ask {
    let place = format!("/loads/{}", row.number);
    if row.burning {
        let last =
            row.programme.0.last().map(|segment| ("held at", show.celsius(segment.target_c)));
        return Ask {
            opens: row.clock_at,
            closes: row.clock_at,
            can_wait: true,
            figures: last.into_iter().chain([("flasks", show.count(row.flasks))]).collect(),
            step: Some(step(format!("{place}/hold"), "It is held", row.version)),
            ..Ask::new(
                format!("Load {}: see that {} holds", row.number, row.kiln),
                place,
                Pressing::Slips,
            )
        };
    }
    let minutes: i64 = row.programme.0.iter().map(|segment| i64::from(segment.minutes)).sum();
    let top = row.programme.0.iter().map(|segment| segment.target_c).reduce(f64::max);
    Ask {
        opens: Some(row.planned_start_at.plus_minutes(-LOADING_MIN)),
        closes: Some(row.planned_start_at),
        figures: [("flasks", show.count(row.flasks)), ("programme", show.minutes(minutes))]
            .into_iter()
            .chain(top.map(|top| ("up to", show.celsius(top))))
            .collect(),
        step: Some(Step {
            told: Told::ReadBack,
            ..step(format!("{place}/start"), "Loaded and started", row.version)
        }),
        ..Ask::new(format!("Load {} goes into {}", row.number, row.kiln), place, Pressing::Slips)
    }
}

/// Pieces that wait in no batch, and where they are put in one.
pub(super) fn waiting(row: &WaitingRow) -> Option<Ask> {
    let n = row.pieces;
    let (what, place) = match row.stage.as_str() {
        "print" => (
            format!("Lay out a plate: {}", counted(n, "piece waits", "pieces wait")),
            "/plates/new",
        ),
        "cure" => (
            format!("Wash and cure: {}", counted(n, "pattern waits", "patterns wait")),
            "/cure/new",
        ),
        "invest" => (
            format!(
                "Tree up in {}: {}",
                row.alloy.as_deref().unwrap_or_default(),
                counted(n, "pattern waits", "patterns wait")
            ),
            "/flasks/new",
        ),
        "finish" => (
            format!("Weigh and finish: {}", counted(n, "casting waits", "castings wait")),
            "/finishing",
        ),
        _ => return None,
    };
    Some(Ask { due_on: row.due_on, ..Ask::new(what, place.to_owned(), Pressing::Waits) })
}

pub(super) fn finishing(row: &FinishingRow, show: &Show) -> Ask {
    Ask {
        due_on: row.due_on,
        figures: vec![
            ("allowed", show.whole_minutes(row.minutes)),
            ("alloy", Html::escaped(&row.alloy)),
        ],
        ..Ask::new(
            format!("Finish {}, {}", row.label, row.design),
            format!("/finishing/{}", row.label),
            Pressing::Waits,
        )
    }
}
