//! What the plan's page says of the plan.

use super::part::Part;
use super::show::{MOST_CHOICES, Parts, ShowPlan};
use crate::clock::Day;
use crate::json::plan::{PinJson, UnkeptJson};
use crate::plan::difference::{Changed, Difference, span};
use crate::plan::grid::Grid;
use crate::plan::listed::{ListedFlask, ListedLoad};
use crate::plan::view::FlaskBrief;
use crate::plan::words;
use crate::studio::Presence;

/// A pour with its load.
type Pour<'a> = (&'a ListedLoad, &'a ListedFlask);

impl ShowPlan {
    pub(super) fn is(&self, state: &str) -> bool {
        self.open.as_ref().is_some_and(|plan| plan.state == state)
    }

    pub(super) fn lane_y(&self, n: &usize) -> f64 {
        *n as f64 * self.lane_height
    }

    pub(super) fn week_before(&self) -> Day {
        self.monday.plus_days(-7)
    }

    pub(super) fn week_after(&self) -> Day {
        self.monday.plus_days(7)
    }

    pub(super) fn shown_loads(&self) -> &[ListedLoad] {
        self.parts.loads.of(&self.loads)
    }

    pub(super) fn shown_changes<'a>(&self, difference: &'a Difference) -> &'a [Changed] {
        self.parts.changed.of(&difference.changed)
    }

    /// The pours shown, day by day.
    pub(super) fn shown_pours(&self) -> Vec<(Day, Vec<Pour<'_>>)> {
        let all = self.pours();
        let mut days: Vec<(Day, Vec<Pour<'_>>)> = Vec::new();
        for pour in self.parts.pours.of(&all) {
            let day = pour.1.pour.day_in(&self.frame.show.zone);
            match days.last_mut() {
                Some((last, pours)) if *last == day => pours.push(*pour),
                _ => days.push((day, vec![*pour])),
            }
        }
        days
    }

    /// Whether a list is longer than what is shown of it.
    pub(super) fn is_cut(&self) -> bool {
        let Parts { loads, pours, waiting, changed } = &self.parts;
        [loads, pours, waiting, changed].into_iter().any(Part::is_cut)
    }

    /// Pins that cannot be kept, each with its reason and what comes of it.
    pub(super) fn unkept(&self) -> Vec<String> {
        let (Some(result), Some(plan)) = (&self.result, &self.open) else { return Vec::new() };
        let grid = Grid::on(plan.day_zero, self.frame.show.zone.clone());
        let said = |one: &UnkeptJson| match &one.pin {
            PinJson::Load { flask, kiln, start_min } => {
                let at = words::at(*start_min, &grid);
                let then = match result.unplanned.iter().any(|left| left.flask == *flask) {
                    true => "It is left out until its pin is let go or put elsewhere.",
                    false => "It is planned without regard to it.",
                };
                format!("Flask {flask}, pinned to {kiln} for {at}: {}. {then}", one.why)
            }
            PinJson::Together { flask, with } => {
                format!("Flasks {flask} and {with}, pinned together: {}.", one.why)
            }
        };
        result.unkept.iter().map(said).collect()
    }

    /// Flasks that are left out, by the reason; those whose pin cannot be kept are told there.
    pub(super) fn left_out(&self) -> Vec<(String, Vec<String>)> {
        let Some(result) = &self.result else { return Vec::new() };
        let pinned = |id: &str| {
            result
                .unkept
                .iter()
                .any(|one| matches!(&one.pin, PinJson::Load { flask, .. } if flask == id))
        };
        let mut by_reason: Vec<(String, Vec<String>)> = Vec::new();
        for one in result.unplanned.iter().filter(|one| !pinned(&one.flask)) {
            match by_reason.iter_mut().find(|(reason, _)| *reason == one.reason) {
                Some((_, flasks)) => flasks.push(one.flask.clone()),
                None => by_reason.push((one.reason.clone(), vec![one.flask.clone()])),
            }
        }
        by_reason
    }

    /// Flasks that wait although their orders were due before today.
    pub(super) fn overdue(&self) -> Vec<&FlaskBrief> {
        let due = |flask: &&FlaskBrief| flask.due_on.is_some_and(|day| self.frame.show.past(day));
        self.waiting.iter().filter(due).take(MOST_CHOICES).collect()
    }

    pub(super) fn away(&self) -> impl Iterator<Item = &Presence> {
        self.people.iter().filter(|person| !person.absences.is_empty())
    }

    pub(super) fn many_waiting(&self) -> bool {
        self.waiting.len() > MOST_CHOICES
    }

    /// Pours of all loads shown, in order, with the load.
    pub(super) fn pours(&self) -> Vec<Pour<'_>> {
        let mut pours: Vec<_> = self
            .loads
            .iter()
            .flat_map(|load| load.flasks.iter().map(move |flask| (load, flask)))
            .collect();
        pours.sort_by_key(|(_, flask)| flask.pour);
        pours
    }

    /// Firings through a change of clocks.
    pub(super) fn clock_changes(&self) -> Vec<String> {
        let zone = &self.frame.show.zone;
        self.loads
            .iter()
            .filter_map(|load| {
                let last = load.flasks.iter().map(|flask| flask.pour).max()?;
                let (before, after) = (zone.to_offset(load.starts.0), zone.to_offset(last.0));
                // An hour in most places, half of one in some.
                let by = |seconds: i32| match seconds / 60 {
                    60 => "an hour".to_owned(),
                    minutes => span(minutes.into()),
                };
                let way = match after.seconds() - before.seconds() {
                    0 => return None,
                    on if on > 0 => format!("{} shorter", by(on)),
                    back => format!("{} longer", by(-back)),
                };
                Some(format!(
                    "Clocks change while {} burns out: from loading to its pours it is {way} than the clock on the wall says. Look at the times before you load it.",
                    load.name
                ))
            })
            .collect()
    }

    pub(super) fn late(&self, flask: &ListedFlask) -> bool {
        flask.due.is_some_and(|due| flask.pour.day_in(&self.frame.show.zone) > due)
    }

    pub(super) fn tardiness_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let late = result.objective.weighted_tardiness;
        let bound = result.bound.weighted_tardiness;
        if late == 0 {
            return "Every order is ready by its due date.".to_owned();
        }
        let words = format!("Pieces are late by {} added together", span(late));
        if bound >= late {
            return format!("{words}; no plan can do better.");
        }
        let share = ((late - bound) as f64 / late as f64 * 100.0).ceil();
        format!(
            "{words}; {} cannot be avoided, so the best possible plan is at most {share:.0} % less late.",
            if bound == 0 { "none of it is known to be what".to_owned() } else { span(bound) }
        )
    }

    pub(super) fn quality_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let loads = result.objective.loads;
        let plural = if loads == 1 { "load" } else { "loads" };
        if result.proved_optimal {
            return format!(
                "{loads} kiln {plural}: proved to be the best plan there is, in {:.1} s.",
                result.seconds
            );
        }
        let least = result.bound.loads;
        if least >= loads {
            format!(
                "{loads} kiln {plural}, and fewer are not possible; found in {:.1} s.",
                result.seconds
            )
        } else {
            format!(
                "{loads} kiln {plural}, {least} needed at least; the best found in {:.1} s.",
                result.seconds
            )
        }
    }

    pub(super) fn pin_choices(&self) -> Vec<(String, String)> {
        self.loads
            .iter()
            .filter(|load| load.can_take)
            .map(|load| {
                let starts = self.frame.show.moment(load.starts);
                (load.place.clone(), format!("{}: {}, {starts}", load.name, load.kiln))
            })
            .collect()
    }

    pub(super) fn flask_choices(&self) -> Vec<(i32, String)> {
        let named =
            |flask: &FlaskBrief| (flask.number, format!("{} {}", flask.number, flask.alloy));
        let mut choices: Vec<(i32, String)> = self.waiting.iter().map(named).collect();
        choices.sort_unstable();
        choices
    }

    pub(super) fn kiln_choices(&self) -> Vec<(String, String)> {
        self.kilns.iter().map(|kiln| (kiln.id.to_string(), kiln.name.clone())).collect()
    }
}
