//! Tells whether a plan keeps every rule. Shares no code with the solver, so
//! that a mistake in one is seen by the other.

mod decisions;
mod load;

use std::collections::{HashMap, HashSet};

use super::decisions::UnderWay;
use super::outcome::{Load, Objective, Plan};
use super::problem::{Flask, Kiln, Problem, Programme, Segment, SegmentKind, Staffed};

/// Places are compared to a micrometre: plans are written with decimal places.
const PLACE_TOLERANCE_MM: f64 = 1e-3;

/// A rule of the planning problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rule {
    /// 1: each flask in one load and one pour, or left out with a reason.
    OneLoadOnePour,
    /// 2: a load starts when its members are ready and not after their latest start.
    StartWindow,
    /// 3: loading and pours lie within staffed intervals; a kiln is available.
    Staffed,
    /// 4: the floor and the height.
    Floor,
    /// 5: no incompatible families in a load.
    Families,
    /// 7: the first pour is not before the end of the programme (of rule 6).
    PourAfterProgramme,
    /// 8: the load does not wait too long for its first pour.
    Hold,
    /// 9: the pours of a load are not too far apart.
    Span,
    /// 10: from the hottest flask to the coldest, with time to cool.
    Cooling,
    /// 11: not too many kilns in a ramp.
    Ramps,
    /// 12: one furnace.
    Furnace,
    /// 13: a kiln is free again before its next load.
    Turnaround,
    /// Every pour ends by the horizon.
    Horizon,
    /// The objective as stated is what the plan achieves, and the bound does not exceed it.
    Objective,
    /// What was settled before planning is kept.
    Decisions,
}

/// A rule that a plan breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// The rule.
    pub rule: Rule,
    /// What breaks it, in words.
    pub what: String,
}

impl std::fmt::Display for Violation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?}: {}", self.rule, self.what)
    }
}

/// Every rule the plan breaks; empty for a plan that can be carried out.
#[must_use]
pub fn check(problem: &Problem, plan: &Plan) -> Vec<Violation> {
    let mut judge = Judge::new(problem, plan);
    judge.one_load_one_pour();
    if judge.found.is_empty() {
        for load in &plan.loads {
            judge.load(load);
        }
        judge.pours();
        judge.ramps();
        judge.furnace();
        judge.kilns();
        judge.objective();
        decisions::check(&mut judge);
    }
    judge.found
}

/// What a plan achieves, whatever it states; flasks that are not in the problem count nothing.
#[must_use]
pub fn achieved(problem: &Problem, plan: &Plan) -> Objective {
    let flasks: HashMap<&str, &Flask> =
        problem.flasks.iter().map(|flask| (flask.id.as_str(), flask)).collect();
    let mut achieved = Objective { loads: plan.loads.len() as i64, ..Objective::default() };
    for pour in &plan.pours {
        let Some(flask) = flasks.get(pour.flask.as_str()) else { continue };
        let end = pour.start_min + problem.pour_min;
        achieved.makespan_min = achieved.makespan_min.max(end);
        achieved.weighted_tardiness += flask.weight * (end + flask.lead_min - flask.due_min).max(0);
    }
    achieved
}

/// A plan under examination.
struct Judge<'a> {
    problem: &'a Problem,
    plan: &'a Plan,
    flasks: HashMap<&'a str, &'a Flask>,
    kilns: HashMap<&'a str, &'a Kiln>,
    pour_start: HashMap<&'a str, i64>,
    closed: HashSet<i64>,
    /// Days with hours of their own.
    special: HashMap<i64, &'a Vec<Staffed>>,
    /// Flasks whose pour has happened: no rule is asked of it any more.
    poured: HashSet<&'a str>,
    found: Vec<Violation>,
}

impl<'a> Judge<'a> {
    fn new(problem: &'a Problem, plan: &'a Plan) -> Self {
        Self {
            problem,
            plan,
            flasks: problem.flasks.iter().map(|flask| (flask.id.as_str(), flask)).collect(),
            kilns: problem.kilns.iter().map(|kiln| (kiln.id.as_str(), kiln)).collect(),
            pour_start: plan.pours.iter().map(|p| (p.flask.as_str(), p.start_min)).collect(),
            closed: problem.calendar.closed_days.iter().copied().collect(),
            special: problem
                .calendar
                .special_days
                .iter()
                .map(|one| (one.day, &one.hours))
                .collect(),
            poured: problem
                .decisions
                .under_way
                .iter()
                .flat_map(|load| load.poured.iter().map(|pour| pour.flask.as_str()))
                .collect(),
            found: Vec::new(),
        }
    }

    fn broken(&mut self, rule: Rule, what: String) {
        self.found.push(Violation { rule, what });
    }

    /// Rule 1. The other rules are only looked at when it holds.
    fn one_load_one_pour(&mut self) {
        let rule = Rule::OneLoadOnePour;
        let mut loaded: HashMap<&str, usize> = HashMap::new();
        let mut poured: HashMap<&str, usize> = HashMap::new();
        let mut left_out: HashMap<&str, usize> = HashMap::new();
        let plan = self.plan;
        for load in &plan.loads {
            if !self.kilns.contains_key(load.kiln.as_str()) {
                self.broken(rule, format!("there is no kiln {}", load.kiln));
            }
            if load.flasks.is_empty() {
                self.broken(rule, format!("a load of kiln {} is empty", load.kiln));
            }
            if load.start_min < 0 {
                self.broken(rule, format!("load of kiln {} starts before 0", load.kiln));
            }
            for placed in &load.flasks {
                *loaded.entry(&placed.flask).or_default() += 1;
            }
        }
        for pour in &plan.pours {
            if pour.start_min < 0 {
                self.broken(rule, format!("pour of {} starts before 0", pour.flask));
            }
            *poured.entry(&pour.flask).or_default() += 1;
        }
        for one in &plan.unplanned {
            *left_out.entry(&one.flask).or_default() += 1;
        }
        for id in loaded.keys().chain(poured.keys()).chain(left_out.keys()) {
            if !self.flasks.contains_key(id) {
                self.found.push(Violation { rule, what: format!("there is no flask {id}") });
            }
        }
        for flask in &self.problem.flasks {
            let count = |of: &HashMap<&str, usize>| of.get(flask.id.as_str()).copied().unwrap_or(0);
            let counts = (count(&loaded), count(&poured), count(&left_out));
            if counts != (1, 1, 0) && counts != (0, 0, 1) {
                let (loads, pours, left_out) = counts;
                let what = format!(
                    "flask {} is in {loads} loads and {pours} pours, and {left_out} times left out",
                    flask.id
                );
                self.found.push(Violation { rule, what });
            }
        }
    }

    fn members(&self, load: &Load) -> Vec<&'a Flask> {
        load.flasks.iter().map(|placed| self.flasks[placed.flask.as_str()]).collect()
    }

    /// Whether the task lies inside one staffed interval.
    fn staffed(&self, start_min: i64, minutes: i64) -> bool {
        let day = start_min.div_euclid(1440);
        let of_day = start_min.rem_euclid(1440);
        let of_week = &self.problem.calendar.week[day.rem_euclid(7) as usize];
        let hours = self.special.get(&day).copied().unwrap_or(of_week);
        !self.closed.contains(&day)
            && hours.iter().any(|open| open.from_min <= of_day && of_day + minutes <= open.to_min)
    }

    /// Rule 6: the programme of the member with the greatest total minutes; in
    /// a load under way that of all its members, planned or not. Where the kiln
    /// takes longer for it, its last ramp does.
    fn programme(&self, load: &Load) -> Programme {
        let mut longest: Option<(i64, &str, &str, &Programme)> = None;
        let members = match self.given(load) {
            Some(given) => given.flasks.iter().map(|id| self.flasks[id.as_str()]).collect(),
            None => self.members(load),
        };
        for flask in members {
            let programme =
                self.problem.family(&flask.family).and_then(|f| f.programme(&flask.size_class));
            let Some(programme) = programme else { continue };
            let total: i64 = programme.segments.iter().map(|segment| segment.minutes).sum();
            let this = (total, flask.family.as_str(), flask.size_class.as_str(), programme);
            if longest.is_none_or(|best| (this.0, this.1, this.2) > (best.0, best.1, best.2)) {
                longest = Some(this);
            }
        }
        let Some((_, family, size_class, programme)) = longest else {
            return Programme::default();
        };
        let mut segments = programme.segments.clone();
        for longer in &self.problem.decisions.longer {
            if longer.kiln != load.kiln
                || longer.family != family
                || longer.size_class != size_class
            {
                continue;
            }
            match segments.iter().rposition(|segment| segment.kind == SegmentKind::Ramp) {
                Some(last) => segments[last].minutes += longer.minutes,
                None => {
                    segments.push(Segment { kind: SegmentKind::Hold, minutes: longer.minutes });
                }
            }
        }
        Programme { segments }
    }

    /// End of the load's programme.
    fn end(&self, load: &Load) -> i64 {
        let total: i64 = self.programme(load).segments.iter().map(|one| one.minutes).sum();
        load.start_min + self.problem.load_min + total
    }

    /// What was said of a load that is under way.
    fn given(&self, load: &Load) -> Option<&'a UnderWay> {
        let under_way = &self.problem.decisions.under_way;
        under_way.iter().find(|one| one.kiln == load.kiln && one.start_min == load.start_min)
    }

    fn under_way(&self, load: &Load) -> bool {
        self.given(load).is_some()
    }

    /// Rule 3 for pours, and the horizon.
    fn pours(&mut self) {
        for pour in &self.plan.pours {
            if self.poured.contains(pour.flask.as_str()) {
                continue;
            }
            let minutes = self.problem.pour_min;
            if !self.staffed(pour.start_min, minutes) {
                let what =
                    format!("pour of {} at {} in no staffed hours", pour.flask, pour.start_min);
                self.broken(Rule::Staffed, what);
            }
            if pour.start_min + minutes > self.problem.horizon_min {
                self.broken(Rule::Horizon, format!("pour of {} ends too late", pour.flask));
            }
        }
    }

    /// Rule 11, by looking at every minute at which a ramp begins.
    fn ramps(&mut self) {
        let mut ramps: Vec<(i64, i64, usize)> = Vec::new();
        for (number, load) in self.plan.loads.iter().enumerate() {
            let mut at = load.start_min + self.problem.load_min;
            for segment in self.programme(load).segments {
                if segment.kind == SegmentKind::Ramp && segment.minutes > 0 {
                    ramps.push((at, at + segment.minutes, number));
                }
                at += segment.minutes;
            }
        }
        for &(at, _, _) in &ramps {
            let kilns: HashSet<&str> = ramps
                .iter()
                .filter(|(from, to, _)| *from <= at && at < *to)
                .map(|&(_, _, number)| self.plan.loads[number].kiln.as_str())
                .collect();
            if kilns.len() as i64 > self.problem.ramp_limit {
                self.found.push(Violation {
                    rule: Rule::Ramps,
                    what: format!("{} kilns in a ramp at {at}", kilns.len()),
                });
            }
        }
    }

    /// Rule 12.
    fn furnace(&mut self) {
        let mut pours: Vec<(i64, &str)> =
            self.plan.pours.iter().map(|pour| (pour.start_min, pour.flask.as_str())).collect();
        pours.sort_unstable();
        for pair in pours.windows(2) {
            let ((first, a), (second, b)) = (pair[0], pair[1]);
            let same = self.flasks[a].alloy == self.flasks[b].alloy;
            let change = if same { 0 } else { self.problem.alloy_change_min };
            let happened = self.poured.contains(a) && self.poured.contains(b);
            if !happened && second - first < self.problem.pour_min + change {
                self.broken(Rule::Furnace, format!("{b} is poured too soon after {a}"));
            }
        }
    }

    /// Rule 13.
    fn kilns(&mut self) {
        let mut loads: Vec<(&str, i64, i64)> = Vec::new();
        for load in &self.plan.loads {
            let last = self.members(load).iter().map(|f| self.pour_start[f.id.as_str()]).max();
            let over = last.unwrap_or(load.start_min) + self.problem.pour_min;
            loads.push((&load.kiln, load.start_min, over));
        }
        loads.sort_unstable();
        for pair in loads.windows(2) {
            let ((kiln, _, over), (next_kiln, start, _)) = (pair[0], pair[1]);
            if kiln == next_kiln && start < over + self.kilns[kiln].turnaround_min {
                let what = format!("kiln {kiln} is loaded at {start}, too soon after {over}");
                self.broken(Rule::Turnaround, what);
            }
        }
    }

    fn objective(&mut self) {
        let achieved = achieved(self.problem, self.plan);
        let stated = self.plan.objective;
        if stated != achieved {
            self.broken(Rule::Objective, format!("stated {stated:?}, achieved {achieved:?}"));
        }
        let bound = self.plan.bound;
        if bound.weighted_tardiness > achieved.weighted_tardiness
            || (bound.weighted_tardiness == achieved.weighted_tardiness
                && bound.loads > achieved.loads)
        {
            self.broken(Rule::Objective, format!("{bound:?} exceeds {achieved:?}"));
        }
    }
}
