//! What makes a problem unfit to be planned: each fault says which and why.

use std::collections::HashSet;

use super::decisions::{Decisions, Pin};
use super::problem::{Calendar, Problem};

/// The most kilns of one problem.
pub const MOST_KILNS: usize = 64;
/// The most families of one problem.
pub const MOST_FAMILIES: usize = 64;
/// The greatest number of minutes anywhere: ten years.
pub const MOST_MINUTES: i64 = 5_259_600;
/// The greatest weight of a flask.
const MOST_WEIGHT: i64 = 1_000_000;
/// The greatest length: a kiln of ten metres.
const MOST_MM: f64 = 10_000.0;

/// One thing wrong with a problem.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProblemFault {
    /// A number outside its range.
    #[error("{what} must be from {least} to {greatest} minutes; it is {given}")]
    Minutes {
        /// The number, named by its place.
        what: String,
        /// Least accepted.
        least: i64,
        /// Greatest accepted.
        greatest: i64,
        /// What was given.
        given: i64,
    },
    /// A count or other plain number outside its range.
    #[error("{what} must be from {least} to {greatest}; it is {given}")]
    Number {
        /// The number, named by its place.
        what: String,
        /// Least accepted.
        least: i64,
        /// Greatest accepted.
        greatest: i64,
        /// What was given.
        given: i64,
    },
    /// A length that is negative, zero where it must not be, too great or not a number.
    #[error("{what} must be {least} mm to {MOST_MM} mm; it is {given}")]
    Length {
        /// The length, named by its place.
        what: String,
        /// Least accepted, in words.
        least: &'static str,
        /// What was given.
        given: f64,
    },
    /// A name that is empty.
    #[error("{what} has an empty name; give each a name of its own")]
    NoName {
        /// What it is.
        what: String,
    },
    /// The same name twice.
    #[error("{what} {id:?} is there twice; give each a name of its own")]
    Twice {
        /// What it is.
        what: &'static str,
        /// The name.
        id: String,
    },
    /// A name nobody has.
    #[error("{by} names the {what} {id:?}, which is not in the problem")]
    Unknown {
        /// Who names it.
        by: String,
        /// What is named.
        what: &'static str,
        /// The name.
        id: String,
    },
    /// Something is missing altogether.
    #[error("{0}")]
    Missing(String),
    /// A staffed interval that does not lie in order within its day.
    #[error(
        "calendar: {day} has the interval {from_min} to {to_min}; intervals must lie within 0 to 1440, in order and without overlap"
    )]
    Interval {
        /// The day of the week.
        day: &'static str,
        /// Start.
        from_min: i64,
        /// End.
        to_min: i64,
    },
    /// A decision that makes no sense by itself.
    #[error("{0}")]
    Decision(String),
}

/// Names of the days of the week, Monday first.
const DAYS: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

impl Problem {
    /// Everything wrong with the problem; empty when it can be planned.
    #[must_use]
    pub fn faults(&self) -> Vec<ProblemFault> {
        let mut found = Found::default();
        found.numbers(self);
        found.calendar(&self.calendar, self.load_min.max(self.pour_min));
        found.kilns(self);
        found.families(self);
        found.flasks(self);
        found.decisions(self, &self.decisions);
        found.faults
    }
}

/// Collects faults.
#[derive(Default)]
struct Found {
    faults: Vec<ProblemFault>,
}

impl Found {
    fn minutes(&mut self, what: impl Into<String>, given: i64, least: i64) {
        if given < least || given > MOST_MINUTES {
            let fault =
                ProblemFault::Minutes { what: what.into(), least, greatest: MOST_MINUTES, given };
            self.faults.push(fault);
        }
    }

    fn number(&mut self, what: impl Into<String>, given: i64, least: i64, greatest: i64) {
        if given < least || given > greatest {
            self.faults.push(ProblemFault::Number { what: what.into(), least, greatest, given });
        }
    }

    fn length(&mut self, what: impl Into<String>, given: f64, zero_allowed: bool) {
        let fine = given.is_finite()
            && given <= MOST_MM
            && (given > 0.0 || (zero_allowed && given == 0.0));
        if !fine {
            let least = if zero_allowed { "0" } else { "more than 0" };
            self.faults.push(ProblemFault::Length { what: what.into(), least, given });
        }
    }

    fn names<'a>(&mut self, what: &'static str, ids: impl Iterator<Item = &'a str>) {
        let mut seen = HashSet::new();
        for (position, id) in ids.enumerate() {
            if id.is_empty() {
                let what = format!("{what} number {}", position + 1);
                self.faults.push(ProblemFault::NoName { what });
            } else if !seen.insert(id) {
                self.faults.push(ProblemFault::Twice { what, id: id.to_owned() });
            }
        }
    }

    fn unknown(&mut self, by: impl Into<String>, what: &'static str, id: &str) {
        self.faults.push(ProblemFault::Unknown { by: by.into(), what, id: id.to_owned() });
    }

    fn numbers(&mut self, problem: &Problem) {
        self.minutes("horizon_min", problem.horizon_min, 1);
        self.minutes("load_min", problem.load_min, 0);
        self.minutes("pour_min", problem.pour_min, 1);
        self.minutes("alloy_change_min", problem.alloy_change_min, 0);
        self.minutes("max_hold_min", problem.max_hold_min, 0);
        self.minutes("max_pour_span_min", problem.max_pour_span_min, 0);
        self.number("ramp_limit", problem.ramp_limit, 1, i64::from(i32::MAX));
        self.length("clearance.flask_mm", problem.clearance.flask_mm, true);
        self.length("clearance.wall_mm", problem.clearance.wall_mm, true);
        self.length("clearance.top_mm", problem.clearance.top_mm, true);
    }

    fn calendar(&mut self, calendar: &Calendar, longest_task_min: i64) {
        let mut long_enough = false;
        let special = calendar
            .special_days
            .iter()
            .map(|one| (DAYS[one.day.rem_euclid(7) as usize], &one.hours));
        for (day, intervals) in DAYS.into_iter().zip(&calendar.week).chain(special) {
            let mut free_from = 0;
            for interval in intervals {
                let (from_min, to_min) = (interval.from_min, interval.to_min);
                if from_min < free_from || to_min <= from_min || to_min > 1440 {
                    self.faults.push(ProblemFault::Interval { day, from_min, to_min });
                }
                long_enough |= to_min - from_min >= longest_task_min;
                free_from = to_min;
            }
        }
        if !long_enough {
            self.faults.push(ProblemFault::Missing(format!(
                "calendar: no day has a staffed interval of {longest_task_min} minutes, so nothing can be loaded and poured; enter working hours"
            )));
        }
        for &day in &calendar.closed_days {
            self.number("calendar.closed_days: a day number", day, 0, MOST_MINUTES / 1440);
        }
        let mut seen = HashSet::new();
        for day in calendar.special_days.iter().map(|one| one.day) {
            self.number("calendar.special_days: a day number", day, 0, MOST_MINUTES / 1440);
            if !seen.insert(day) {
                self.faults.push(ProblemFault::Decision(format!(
                    "calendar.special_days: day {day} is there twice; give all its intervals together"
                )));
            }
        }
    }

    fn kilns(&mut self, problem: &Problem) {
        self.names("kiln", problem.kilns.iter().map(|kiln| kiln.id.as_str()));
        if problem.kilns.is_empty() && !problem.flasks.is_empty() {
            let fault = "there is no kiln; enter at least one".to_owned();
            self.faults.push(ProblemFault::Missing(fault));
        }
        let kilns = i64::try_from(problem.kilns.len()).unwrap_or(i64::MAX);
        self.number("the number of kilns", kilns, 0, MOST_KILNS as i64);
        for kiln in &problem.kilns {
            let name = format!("kiln {}: ", kiln.id);
            self.length(name.clone() + "width_mm", kiln.width_mm, false);
            self.length(name.clone() + "depth_mm", kiln.depth_mm, false);
            self.length(name.clone() + "height_mm", kiln.height_mm, false);
            self.minutes(name.clone() + "cool_min_per_100c", kiln.cool_min_per_100c, 0);
            self.minutes(name.clone() + "turnaround_min", kiln.turnaround_min, 0);
            self.minutes(name + "available_min", kiln.available_min, 0);
        }
    }

    fn families(&mut self, problem: &Problem) {
        self.names("family", problem.families.iter().map(|family| family.id.as_str()));
        let families = i64::try_from(problem.families.len()).unwrap_or(i64::MAX);
        self.number("the number of families", families, 0, MOST_FAMILIES as i64);
        for family in &problem.families {
            let classes = family.programmes.iter().map(|one| one.size_class.as_str());
            self.names("size class", classes);
            for one in &family.programmes {
                let name = format!("family {}, size class {}: ", family.id, one.size_class);
                for segment in &one.programme.segments {
                    self.minutes(name.clone() + "minutes of a segment", segment.minutes, 0);
                }
                self.minutes(name + "minutes of the programme", one.programme.minutes(), 1);
            }
        }
        for pair in &problem.incompatible {
            for id in pair {
                if problem.family(id).is_none() {
                    self.unknown("incompatible", "family", id);
                }
            }
            if pair[0] == pair[1] {
                self.faults.push(ProblemFault::Decision(format!(
                    "incompatible: {:?} is paired with itself; name two families",
                    pair[0]
                )));
            }
        }
    }

    fn flasks(&mut self, problem: &Problem) {
        self.names("flask", problem.flasks.iter().map(|flask| flask.id.as_str()));
        for flask in &problem.flasks {
            let name = format!("flask {}: ", flask.id);
            self.length(name.clone() + "diameter_mm", flask.diameter_mm, false);
            self.length(name.clone() + "height_mm", flask.height_mm, false);
            self.minutes(name.clone() + "ready_min", flask.ready_min, 0);
            if let Some(latest) = flask.latest_start_min {
                self.minutes(name.clone() + "latest_start_min", latest, 0);
            }
            self.number(name.clone() + "cast_temp_c", flask.cast_temp_c, -273, 3000);
            if flask.alloy.is_empty() {
                self.faults.push(ProblemFault::NoName { what: name.clone() + "the alloy" });
            }
            self.minutes(name.clone() + "lead_min", flask.lead_min, 0);
            self.minutes(name.clone() + "due_min", flask.due_min, 0);
            self.number(name + "weight", flask.weight, 0, MOST_WEIGHT);
            match problem.family(&flask.family) {
                None => self.unknown(format!("flask {}", flask.id), "family", &flask.family),
                Some(family) if family.programme(&flask.size_class).is_none() => {
                    let by = format!("flask {} of family {}", flask.id, family.id);
                    self.unknown(by, "size class", &flask.size_class);
                }
                Some(_) => {}
            }
        }
    }

    fn decisions(&mut self, problem: &Problem, decisions: &Decisions) {
        self.minutes("not_before_min", decisions.not_before_min, 0);
        for pin in &decisions.pins {
            match pin {
                Pin::Load { flask, kiln, start_min } => {
                    self.known_flask(problem, "a pin", flask);
                    self.known_kiln(problem, "a pin", kiln);
                    self.minutes(format!("pin of flask {flask}: start_min"), *start_min, 0);
                }
                Pin::Together { flask, with } => {
                    self.known_flask(problem, "a pin", flask);
                    self.known_flask(problem, "a pin", with);
                }
            }
        }
        let mut inside = HashSet::new();
        for load in &decisions.under_way {
            self.known_kiln(problem, "a load under way", &load.kiln);
            self.minutes("load under way: start_min", load.start_min, 0);
            for flask in &load.flasks {
                self.known_flask(problem, "a load under way", flask);
                if !inside.insert(flask.as_str()) {
                    self.faults.push(ProblemFault::Decision(format!(
                        "flask {flask} is in two loads under way, or twice in one"
                    )));
                }
            }
            let mut poured = HashSet::new();
            for pour in &load.poured {
                self.minutes("load under way: start of a pour", pour.start_min, 0);
                if !load.flasks.contains(&pour.flask) || !poured.insert(pour.flask.as_str()) {
                    self.faults.push(ProblemFault::Decision(format!(
                        "load under way in kiln {}: flask {} is said to be poured, but is not a member or is poured twice",
                        load.kiln, pour.flask
                    )));
                }
            }
        }
        for out in &decisions.out_of_use {
            self.known_kiln(problem, "a time out of use", &out.kiln);
            self.minutes(format!("kiln {} out of use: from_min", out.kiln), out.from_min, 0);
            self.minutes(
                format!("kiln {} out of use: to_min", out.kiln),
                out.to_min,
                out.from_min.saturating_add(1),
            );
        }
        for ban in &decisions.bans {
            self.known_kiln(problem, "a ban", &ban.kiln);
            if let Some(flask) = &ban.flask {
                self.known_flask(problem, "a ban", flask);
            }
            if let Some(until) = ban.until_min {
                self.minutes(format!("ban of kiln {}: until_min", ban.kiln), until, 0);
            }
        }
        for dear in &decisions.dear_hours {
            let (name, week) = ("dear hours: ".to_owned(), 7 * 1440);
            self.number(name.clone() + "from_min", dear.from_min, 0, week - 1);
            self.number(name.clone() + "to_min", dear.to_min, dear.from_min.max(0) + 1, week);
            self.number(name + "minutes_per_hour", dear.minutes_per_hour, 0, MOST_WEIGHT);
        }
        for rewet in &decisions.rewet {
            self.known_flask(problem, "a wetting", &rewet.flask);
            let name = format!("wetting of flask {}: ", rewet.flask);
            self.minutes(name.clone() + "until_min", rewet.until_min, 0);
            self.number(name + "minutes", rewet.minutes, 0, MOST_MINUTES);
        }
        let mut seen = HashSet::new();
        for longer in &decisions.longer {
            let name = format!(
                "what kiln {} takes longer for family {}, size class {}",
                longer.kiln, longer.family, longer.size_class
            );
            self.known_kiln(problem, "what takes longer", &longer.kiln);
            match problem.family(&longer.family) {
                None => self.unknown("what takes longer", "family", &longer.family),
                Some(family) if family.programme(&longer.size_class).is_none() => {
                    let by = format!("what takes longer in family {}", family.id);
                    self.unknown(by, "size class", &longer.size_class);
                }
                Some(_) => {}
            }
            if !seen.insert((&longer.kiln, &longer.family, &longer.size_class)) {
                self.faults.push(ProblemFault::Decision(format!(
                    "{name} is there twice; give its minutes once"
                )));
            }
            self.minutes(name, longer.minutes, 0);
        }
        if let Some(stability) = &decisions.stability {
            self.number("minutes_per_move", stability.minutes_per_move, 0, MOST_MINUTES);
        }
    }

    fn known_flask(&mut self, problem: &Problem, by: &str, id: &str) {
        if problem.flask(id).is_none() {
            self.unknown(by, "flask", id);
        }
    }

    fn known_kiln(&mut self, problem: &Problem, by: &str, id: &str) {
        if problem.kiln(id).is_none() {
            self.unknown(by, "kiln", id);
        }
    }
}
