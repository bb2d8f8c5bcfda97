//! What no plan of the same flasks can undercut.
//!
//! Each bound drops some rules and keeps others, so that it holds for every plan:
//!
//! - A flask is poured no earlier than when nothing else is in its way.
//! - The n-th pour of all is no earlier than kilns and furnace allow: a kiln ends one load after
//!   the other, and takes no more flasks at once than Oler's inequality allows for circles.
//!   Giving flasks to such slots at least cost is an assignment problem.
//! - Flasks whose start windows, floors, families or casting temperatures keep them apart need
//!   loads of their own.
//!
//! # Source
//! N. Oler, "An inequality in the geometry of numbers", Acta Mathematica 105 (1961) 19: at most
//! (2/√3)·A + P/2 + 1 points at distances of 1 or more lie in a convex set of area A and
//! perimeter P. Bounding a batching machine by its earliest completions: P. Brucker et al.,
//! "Scheduling a batching machine", Journal of Scheduling 1 (1998) 31. Assignment by shortest
//! augmenting paths: R. Jonker and A. Volgenant, Computing 38 (1987) 325.

mod fewest;
mod slots;

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::{Bound, Objective};
use crate::plan::problem::{Clearance, Problem};

use super::board::{Board, Timing, Wanted};
use fewest::fewest_loads;
use slots::assignment;

/// For more flasks the assignment is left out: it would take longer than the search.
const MOST_ASSIGNED: usize = 450;

/// Bounds of a problem, for the flasks that are planned.
#[derive(Debug, Clone)]
pub(super) struct Bounds {
    tardiness: i64,
    /// Loads of any plan, and of one whose tardiness equals its bound.
    loads: i64,
    loads_in_time: i64,
    makespan: i64,
}

impl Bounds {
    /// Bounds of all plans of these flasks beside so many loads under way. A plan that leaves some
    /// of them out has bounds of its own.
    pub(super) fn new(
        problem: &Problem,
        model: &Model,
        flasks: impl Iterator<Item = FlaskNo>,
        under_way: usize,
    ) -> Self {
        let flasks: Vec<Relaxed> = flasks.map(|flask| Relaxed::new(model, flask)).collect();
        let tardiness = tardiness(problem, model, &flasks);
        // Nobody joins a load under way.
        let under_way = under_way as i64;
        let loads = under_way + fewest_loads(problem, model, &flasks, false);
        let loads_in_time = if tardiness == 0 {
            loads.max(under_way + fewest_loads(problem, model, &flasks, true))
        } else {
            loads
        };
        let makespan = flasks
            .iter()
            .map(|flask| i64::from(flask.earliest_pour + model.pour_min))
            .max()
            .unwrap_or(0);
        Self { tardiness, loads, loads_in_time, makespan }
    }

    /// What holds beside a plan that achieves this.
    pub(super) fn beside(&self, achieved: Objective) -> Bound {
        let in_time = achieved.weighted_tardiness == self.tardiness;
        Bound {
            weighted_tardiness: self.tardiness,
            loads: if in_time { self.loads_in_time } else { self.loads },
        }
    }

    /// Whether no plan is better than this.
    pub(super) fn prove(&self, achieved: Objective) -> bool {
        achieved.weighted_tardiness <= self.tardiness
            && achieved.loads <= self.loads_in_time
            && achieved.makespan_min <= self.makespan
    }
}

/// A flask with everything else out of its way.
#[derive(Debug, Clone)]
struct Relaxed {
    flask: FlaskNo,
    earliest_pour: Min,
}

impl Relaxed {
    fn new(model: &Model, flask: FlaskNo) -> Self {
        Self { flask, earliest_pour: earliest_pour_of(model, flask) }
    }

    fn tardiness_at(&self, model: &Model, pour: Min) -> i64 {
        model.flasks[usize::from(self.flask)].tardiness(pour.max(self.earliest_pour))
    }
}

fn earliest_pour_of(model: &Model, flask: FlaskNo) -> Min {
    (0..model.kilns.len())
        .filter(|&kiln| model.flasks[usize::from(flask)].may_use(kiln))
        .filter_map(|kiln| earliest_pour(model, flask, kiln))
        .min()
        // A flask that is planned although it cannot be alone has no bound.
        .unwrap_or(0)
}

/// What a flask's tardiness counts at least, with everything else out of its way.
pub(super) fn least_tardiness(model: &Model, flask: FlaskNo) -> i64 {
    model.flasks[usize::from(flask)].tardiness(earliest_pour_of(model, flask))
}

/// The earliest pour in a kiln, alone or in the longer programme of others it may be with: a
/// longer burnout may end in working hours when its own does not.
pub(super) fn earliest_pour(model: &Model, flask: FlaskNo, kiln: usize) -> Option<Min> {
    let spec = &model.flasks[usize::from(flask)];
    let board = Board::new(model);
    let mut timing = Timing::default();
    let mut programmes: Vec<u16> = model
        .flasks
        .iter()
        .filter(|other| model.clashes[usize::from(spec.family)] >> other.family & 1 == 0)
        .map(|other| other.programme)
        .filter(|&programme| programme > spec.programme)
        .collect();
    programmes.push(spec.programme);
    programmes.sort_unstable();
    programmes.dedup();
    programmes
        .into_iter()
        .filter_map(|programme| {
            let wanted = Wanted {
                wait: 0,
                latest: Min::MAX,
                kiln,
                programme,
                from: spec
                    .ready
                    .max(model.kilns[kiln].available)
                    .max(spec.kiln_from.get(kiln).copied().unwrap_or(0)),
                exactly: None,
                under_way: false,
                pours_from: Min::MIN,
                order: &[flask],
                held: &[],
            };
            board.earliest(&wanted, &mut timing).then(|| timing.pours[0])
        })
        .min()
}

/// The least tardiness of flasks: by the assignment of all of them, or of the larger and the
/// smaller apart, for a kiln takes fewer large ones at once. What is planned of a part is a plan
/// of the part, so the bounds of parts add up.
fn tardiness(problem: &Problem, model: &Model, flasks: &[Relaxed]) -> i64 {
    let alone: i64 = flasks.iter().map(|flask| flask.tardiness_at(model, 0)).sum();
    if flasks.len() > MOST_ASSIGNED {
        return alone;
    }
    let of_part = |part: &[Relaxed]| {
        let alone: i64 = part.iter().map(|flask| flask.tardiness_at(model, 0)).sum();
        alone.max(assignment(model, part, &at_once(problem, model, part)))
    };
    let mut sizes: Vec<u16> =
        flasks.iter().map(|one| model.flasks[usize::from(one.flask)].size).collect();
    sizes.sort_unstable();
    sizes.dedup();
    // Sizes are numbered from the largest; the last split leaves all in one part.
    sizes
        .into_iter()
        .map(|least| {
            let large = |one: &Relaxed| model.flasks[usize::from(one.flask)].size <= least;
            let (large, small): (Vec<Relaxed>, Vec<Relaxed>) =
                flasks.iter().cloned().partition(large);
            of_part(&large) + of_part(&small)
        })
        .max()
        .unwrap_or(0)
}

/// How many of some flasks each kiln takes at once, as if all were as small as the smallest.
fn at_once(problem: &Problem, model: &Model, flasks: &[Relaxed]) -> Vec<usize> {
    (0..model.kilns.len())
        .map(|kiln| {
            let smallest = flasks
                .iter()
                .map(|one| usize::from(one.flask))
                .filter(|&flask| model.flasks[flask].may_use(kiln))
                .map(|flask| problem.flasks[flask].diameter_mm)
                .fold(f64::INFINITY, f64::min);
            most_at_once(problem, kiln, smallest)
        })
        .collect()
}

fn most_at_once(problem: &Problem, kiln: usize, diameter_mm: f64) -> usize {
    let given = &problem.kilns[kiln];
    most_on_floor(given.width_mm, given.depth_mm, problem.clearance, diameter_mm)
}

/// The most flasks of at least this diameter that a floor takes, by Oler's inequality: no more fit,
/// but not always so many.
///
/// # Source
/// N. Oler, "An inequality in the geometry of numbers", Acta Mathematica 105 (1961) 19.
#[must_use]
pub fn most_on_floor(width_mm: f64, depth_mm: f64, clear: Clearance, diameter_mm: f64) -> usize {
    let edge = diameter_mm + 2.0 * clear.wall_mm;
    let (width, depth) = (width_mm - edge, depth_mm - edge);
    if !(width >= 0.0 && depth >= 0.0) {
        return 0;
    }
    let apart = diameter_mm + clear.flask_mm;
    if apart <= 0.0 {
        return usize::MAX;
    }
    let (width, depth) = (width / apart, depth / apart);
    // A hair more, for rounding must not take away a flask that just fits.
    let most = 2.0 / 3.0_f64.sqrt() * width * depth + width + depth + 1.0;
    (most + 1e-6).floor() as usize
}
