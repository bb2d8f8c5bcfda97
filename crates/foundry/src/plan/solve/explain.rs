//! Why a flask is poured when it is, and what would make it earlier.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::Plan;
use crate::plan::problem::{Problem, Staffed};

use super::board::Timing;
use super::draft::{Draft, Unit};
use super::opening::entered;
use super::schedule::Schedule;

/// One thing that keeps a flask from being poured earlier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Binds {
    /// Somebody has to be there to load and to pour.
    Hours,
    /// Other pours on the furnace.
    Furnace,
    /// Other kilns that heat at the same time.
    Ramps,
    /// Other loads of the same kiln.
    Kiln {
        /// The kiln.
        kiln: String,
    },
    /// The kiln takes longer for the programme than that says.
    Slow {
        /// The kiln.
        kiln: String,
    },
    /// Times at which the kiln is out of use.
    OutOfUse {
        /// The kiln.
        kiln: String,
    },
    /// It is not ready earlier.
    Ready,
    /// Others in its load are not ready earlier.
    OthersReady {
        /// Which.
        flasks: Vec<String>,
    },
    /// Others in its load: their longer programme, or their hotter pours before it.
    Company,
    /// The kiln it is in: another has room earlier.
    OtherKiln {
        /// The other kiln.
        kiln: String,
    },
    /// Nothing at all: it could be poured earlier where it is, and the plan gains nothing by it.
    Nothing,
}

/// What would be without one of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Without {
    /// What is taken away.
    pub binds: Binds,
    /// When the flask's pour would start then.
    pub pour_min: i64,
}

/// Why a flask is poured when it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explanation {
    /// The kiln it is in.
    pub kiln: String,
    /// When its load starts.
    pub start_min: i64,
    /// When the burnout ends.
    pub burnt_out_min: i64,
    /// When its pour starts.
    pub pour_min: i64,
    /// What would make the pour earlier, each alone, the greatest gain first. Empty: only a
    /// shorter programme would.
    pub without: Vec<Without>,
}

/// Why a flask of a plan is poured when it is: each rule and resource is taken away alone, with
/// everything else of the plan left where it is, and what is gained is told. None for a flask
/// that is not in the plan, or is in a load under way.
#[must_use]
pub fn explain(problem: &Problem, plan: &Plan, flask: &str) -> Option<Explanation> {
    if !problem.faults().is_empty() {
        return None;
    }
    let load = plan.loads.iter().position(|load| load.flasks.iter().any(|p| p.flask == flask))?;
    let pour_min = plan.pours.iter().find(|pour| pour.flask == flask)?.start_min;
    let (kiln, start_min) = (plan.loads[load].kiln.clone(), plan.loads[load].start_min);
    let under_way = &problem.decisions.under_way;
    if under_way.iter().any(|one| one.kiln == kiln && one.start_min == start_min) {
        return None;
    }
    let of = Of { plan, load, flask };
    let burnt_out_min = of.burnt_out(problem)?;
    let mut without: Vec<Without> = Vec::new();
    let mut consider = |binds: Binds, found: Option<Min>| {
        if let Some(pour) = found.map(i64::from).filter(|&pour| pour < pour_min) {
            without.push(Without { binds, pour_min: pour });
        }
    };
    // What is possible as things are is no reason.
    let plain = of.earliest(problem, Leave::All, None);
    consider(Binds::Nothing, plain);
    let known = plain.map_or(pour_min, i64::from).min(pour_min);
    let mut less = |binds: Binds, found: Option<Min>| {
        consider(binds, found.filter(|&pour| i64::from(pour) < known));
    };
    let mut open = problem.clone();
    open.calendar.closed_days.clear();
    open.calendar.special_days.clear();
    open.calendar.week = std::array::from_fn(|_| vec![Staffed { from_min: 0, to_min: 1440 }]);
    // A task ends within its day; tasks over midnight are left out of this account.
    less(Binds::Hours, of.earliest(&open, Leave::All, None));
    less(Binds::Furnace, of.earliest(problem, Leave::NoPours, None));
    let mut cold = problem.clone();
    cold.ramp_limit = problem.kilns.len().max(1) as i64;
    less(Binds::Ramps, of.earliest(&cold, Leave::All, None));
    less(Binds::Kiln { kiln: kiln.clone() }, of.earliest(problem, Leave::NotInKiln, None));
    let mut usable = problem.clone();
    usable.decisions.out_of_use.retain(|out| out.kiln != kiln);
    less(Binds::OutOfUse { kiln: kiln.clone() }, of.earliest(&usable, Leave::All, None));
    let mut prompt = problem.clone();
    prompt.decisions.longer.retain(|longer| longer.kiln != kiln);
    less(Binds::Slow { kiln: kiln.clone() }, of.earliest(&prompt, Leave::All, None));
    let now = problem.decisions.not_before_min;
    let mut ready = problem.clone();
    ready.flasks.iter_mut().filter(|one| one.id == flask).for_each(|one| one.ready_min = now);
    less(Binds::Ready, of.earliest(&ready, Leave::All, None));
    let others: Vec<String> = plan.loads[load]
        .flasks
        .iter()
        .filter(|placed| placed.flask != flask)
        .filter(|placed| {
            problem.flask(&placed.flask).is_some_and(|other| {
                problem.flask(flask).is_some_and(|own| other.ready_min > own.ready_min)
            })
        })
        .map(|placed| placed.flask.clone())
        .collect();
    if !others.is_empty() {
        let mut all_ready = problem.clone();
        for one in all_ready.flasks.iter_mut().filter(|one| others.contains(&one.id)) {
            one.ready_min = now;
        }
        let found = of.earliest(&all_ready, Leave::All, None);
        less(Binds::OthersReady { flasks: others }, found);
    }
    if plan.loads[load].flasks.len() > 1 {
        less(Binds::Company, of.earliest(problem, Leave::Alone, None));
    }
    for (number, other) in problem.kilns.iter().enumerate().filter(|(_, one)| one.id != kiln) {
        let found = of.earliest(problem, Leave::All, Some(number));
        less(Binds::OtherKiln { kiln: other.id.clone() }, found);
    }
    without.sort_by_key(|one| one.pour_min);
    Some(Explanation { kiln, start_min, burnt_out_min, pour_min, without })
}

/// What of the plan is left where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Leave {
    /// All other loads.
    All,
    /// Other loads in their kilns, without their pours.
    NoPours,
    /// All but those of the same kiln.
    NotInKiln,
    /// All other loads; the flask leaves its own.
    Alone,
}

struct Of<'a> {
    plan: &'a Plan,
    load: usize,
    flask: &'a str,
}

impl Of<'_> {
    fn burnt_out(&self, problem: &Problem) -> Option<i64> {
        let load = &self.plan.loads[self.load];
        let programme = |id: &str| {
            let flask = problem.flask(id)?;
            let programme = problem.family(&flask.family)?.programme(&flask.size_class)?;
            Some((programme.minutes(), flask.family.as_str(), flask.size_class.as_str()))
        };
        let all = load.flasks.iter().filter_map(|placed| programme(&placed.flask));
        let (minutes, family, size_class) = all.max()?;
        let longer = problem.longer_min(&load.kiln, family, size_class);
        Some(load.start_min + problem.load_min + minutes + longer)
    }

    /// The flask's earliest pour in a load of the same members.
    fn earliest(&self, problem: &Problem, leave: Leave, kiln: Option<usize>) -> Option<Min> {
        let (model, mut floors) = Model::new(problem);
        let units: Vec<Unit> =
            (0..problem.flasks.len() as FlaskNo).map(|f| Unit::new(&model, vec![f])).collect();
        let mut plan = self.plan.clone();
        let own = plan.loads.remove(self.load);
        let number =
            |id: &str| problem.flasks.iter().position(|flask| flask.id == id).map(|n| n as FlaskNo);
        let this = number(self.flask)?;
        let mut members: Vec<FlaskNo> =
            own.flasks.iter().filter_map(|placed| number(&placed.flask)).collect();
        let own_kiln = problem.kilns.iter().position(|one| one.id == own.kiln)?;
        match leave {
            Leave::NotInKiln => plan.loads.retain(|load| load.kiln != own.kiln),
            Leave::Alone => {
                members.retain(|&one| one == this);
                // The others stay in the load it leaves.
                let mut rest = own.clone();
                rest.flasks.retain(|placed| placed.flask != self.flask);
                plan.loads.push(rest);
            }
            Leave::All | Leave::NoPours => {}
        }
        let mut schedule = entered(problem, &plan, &model, &units);
        if leave == Leave::NoPours {
            let mut bare = Schedule::new(&model);
            for (draft, timing) in &schedule.loads {
                bare.board.occupy(draft.kiln, draft.programme, timing);
            }
            schedule = bare;
        }
        let kilns = match (leave, kiln) {
            (Leave::Alone, None) => 0..model.kilns.len(),
            (_, kiln) => {
                let kiln = kiln.unwrap_or(own_kiln);
                kiln..kiln + 1
            }
        };
        kilns
            .filter_map(|kiln| {
                pour_in(&model, &mut floors, &units, &schedule, kiln, &members, this)
            })
            .min()
    }
}

fn pour_in(
    model: &Model,
    floors: &mut Floors,
    units: &[Unit],
    schedule: &Schedule<'_>,
    kiln: usize,
    members: &[FlaskNo],
    this: FlaskNo,
) -> Option<Min> {
    let mut draft = Draft { kiln, units: members.to_vec(), ..Draft::default() };
    draft.derive(model, units);
    let mut timing = Timing::default();
    if !draft.possible(model, floors, units)
        || !schedule.board.earliest(&draft.wanted(), &mut timing)
        || timing.start > draft.latest
    {
        return None;
    }
    let place = draft.order.iter().position(|&flask| flask == this)?;
    Some(timing.pours[place])
}
