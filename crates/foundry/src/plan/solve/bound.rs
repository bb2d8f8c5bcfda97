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

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::{Bound, Objective};
use crate::plan::problem::Problem;

use super::board::{Board, Timing, Wanted};

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
        let earliest_pour = (0..model.kilns.len())
            .filter(|&kiln| model.flasks[usize::from(flask)].may_use(kiln))
            .filter_map(|kiln| earliest_pour(model, flask, kiln))
            .min()
            // A flask that is planned although it cannot be alone has no bound.
            .unwrap_or(0);
        Self { flask, earliest_pour }
    }

    fn tardiness_at(&self, model: &Model, pour: Min) -> i64 {
        model.flasks[usize::from(self.flask)].tardiness(pour.max(self.earliest_pour))
    }
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

/// The most flasks of at least this diameter that a kiln's floor takes, by Oler's inequality.
fn most_at_once(problem: &Problem, kiln: usize, diameter_mm: f64) -> usize {
    let (given, clear) = (&problem.kilns[kiln], problem.clearance);
    let edge = diameter_mm + 2.0 * clear.wall_mm;
    let (width, depth) = (given.width_mm - edge, given.depth_mm - edge);
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

/// Whether two flasks lie on a kiln's floor together: their centres are farthest apart in
/// opposite corners.
fn pair_fits(problem: &Problem, kiln: usize, a: FlaskNo, b: FlaskNo) -> bool {
    let (given, clear) = (&problem.kilns[kiln], problem.clearance);
    let radii = (problem.flasks[usize::from(a)].diameter_mm
        + problem.flasks[usize::from(b)].diameter_mm)
        / 2.0;
    let (width, depth) = (
        given.width_mm - 2.0 * clear.wall_mm - radii,
        given.depth_mm - 2.0 * clear.wall_mm - radii,
    );
    width.max(0.0).hypot(depth.max(0.0)) >= radii + clear.flask_mm - 1e-6
}

/// Least tardiness when the n-th pour of all is no earlier than kilns and furnace allow.
fn assignment(model: &Model, flasks: &[Relaxed], at_once: &[usize]) -> i64 {
    let slots = slots(model, flasks, at_once);
    if slots.len() < flasks.len() {
        return 0;
    }
    let costs: Vec<Vec<i64>> = flasks
        .iter()
        .map(|flask| slots.iter().map(|&slot| flask.tardiness_at(model, slot)).collect())
        .collect();
    least_assignment(&costs)
}

/// For each n the minute before which the n-th pour of all cannot start.
fn slots(model: &Model, flasks: &[Relaxed], at_once: &[usize]) -> Vec<Min> {
    let shortest = flasks
        .iter()
        .map(|flask| model.flasks[usize::from(flask.flask)].programme)
        .map(|programme| model.programmes[usize::from(programme)].minutes)
        .min()
        .unwrap_or(0);
    let mut slots: Vec<Min> = Vec::new();
    for (kiln, &at_once) in at_once.iter().enumerate() {
        let may = |flask: &&Relaxed| model.flasks[usize::from(flask.flask)].may_use(kiln);
        let Some(mut first) = flasks.iter().filter(may).map(|flask| flask.earliest_pour).min()
        else {
            continue;
        };
        let most = flasks.iter().filter(may).count();
        let mut here = 0;
        while here < most {
            let load = at_once.clamp(1, most - here);
            // The next load: out of the kiln, turned around, loaded in hours, burnt out.
            let empty = first + model.pour_min + model.kilns[kiln].turnaround;
            let next = model
                .load_starts
                .next(empty)
                .and_then(|start| model.pour_starts.next(start + model.load_min + shortest))
                .map(|next| next.max(first));
            // A full load may pour longer than another one takes: then the other counts.
            let at = |n: Min| (first + n * model.pour_min).min(next.unwrap_or(Min::MAX));
            slots.extend((0..load as Min).map(at));
            here += load;
            let Some(next) = next else { break };
            first = next;
        }
    }
    slots.sort_unstable();
    slots.truncate(flasks.len());
    // One furnace, one pour after the other in hours.
    let mut free = Min::MIN;
    for slot in &mut slots {
        let at = (*slot).max(free);
        match model.pour_starts.next(at) {
            Some(start) => *slot = start,
            None => *slot = at,
        }
        free = *slot + model.pour_min;
    }
    slots
}

/// The least sum of one entry from each row, no two from one column; rows are no more than
/// columns.
fn least_assignment(costs: &[Vec<i64>]) -> i64 {
    let (rows, columns) = (costs.len(), costs.first().map_or(0, Vec::len));
    // Potentials and partners; row and column 0 stand for none.
    let (mut row_price, mut column_price) = (vec![0_i64; rows + 1], vec![0_i64; columns + 1]);
    let mut row_of = vec![0_usize; columns + 1];
    let mut way = vec![0_usize; columns + 1];
    for row in 1..=rows {
        row_of[0] = row;
        let mut column = 0;
        let mut least = vec![i64::MAX; columns + 1];
        let mut seen = vec![false; columns + 1];
        loop {
            seen[column] = true;
            let at = row_of[column];
            let (mut step, mut next) = (i64::MAX, 0);
            for other in 1..=columns {
                if seen[other] {
                    continue;
                }
                let reduced = costs[at - 1][other - 1] - row_price[at] - column_price[other];
                if reduced < least[other] {
                    least[other] = reduced;
                    way[other] = column;
                }
                if least[other] < step {
                    step = least[other];
                    next = other;
                }
            }
            for other in 0..=columns {
                if seen[other] {
                    row_price[row_of[other]] += step;
                    column_price[other] -= step;
                } else if least[other] != i64::MAX {
                    least[other] -= step;
                }
            }
            column = next;
            if row_of[column] == 0 {
                break;
            }
        }
        while column != 0 {
            let before = way[column];
            row_of[column] = row_of[before];
            column = before;
        }
    }
    (1..=columns).filter(|&c| row_of[c] > 0).map(|c| costs[row_of[c] - 1][c - 1]).sum()
}

/// The fewest loads, over groups of families that never share one.
fn fewest_loads(problem: &Problem, model: &Model, flasks: &[Relaxed], in_time: bool) -> i64 {
    let mut group: Vec<usize> = (0..model.clashes.len()).collect();
    for a in 0..group.len() {
        for b in 0..a {
            if model.clashes[a] >> b & 1 == 0 {
                let (from, to) = (group[a], group[b]);
                group.iter_mut().filter(|one| **one == from).for_each(|one| *one = to);
            }
        }
    }
    let mut total = 0;
    for number in 0..group.len() {
        let members: Vec<&Relaxed> = flasks
            .iter()
            .filter(|one| group[usize::from(model.flasks[usize::from(one.flask)].family)] == number)
            .collect();
        if members.is_empty() {
            continue;
        }
        let windows: Vec<(Min, Min, FlaskNo)> = members
            .iter()
            .map(|one| {
                let spec = &model.flasks[usize::from(one.flask)];
                let mut latest = spec.latest;
                if in_time {
                    // Started later it would be late, in any programme it may share.
                    let burn = model.programmes[usize::from(spec.programme)].minutes;
                    latest = latest.min(spec.in_time - model.load_min - burn);
                }
                (spec.ready, latest.max(spec.ready), one.flask)
            })
            .collect();
        let apart = kept_apart(problem, model, &windows);
        let stabbed = stabbed(problem, model, &windows);
        total += apart.max(stabbed);
    }
    total as i64
}

/// Flasks of which no two can share a load: a clique, found greedily from each flask on.
fn kept_apart(problem: &Problem, model: &Model, windows: &[(Min, Min, FlaskNo)]) -> usize {
    if windows.len() > MOST_ASSIGNED {
        return 0;
    }
    let clash = |a: &(Min, Min, FlaskNo), b: &(Min, Min, FlaskNo)| {
        let (one, other) = (&model.flasks[usize::from(a.2)], &model.flasks[usize::from(b.2)]);
        let hot = one.temp_c.max(other.temp_c);
        let cold = one.temp_c.min(other.temp_c);
        let too_far = |kiln: usize| {
            model.pour_min + model.cooling(kiln, hot, cold) > model.span_min
                || !pair_fits(problem, kiln, a.2, b.2)
        };
        let shared = one.kilns & other.kilns;
        a.0.max(b.0) > a.1.min(b.1)
            || model.clashes[usize::from(one.family)] >> other.family & 1 == 1
            || (0..model.kilns.len()).all(|kiln| shared >> kiln & 1 == 0 || too_far(kiln))
    };
    let matrix: Vec<Vec<bool>> =
        windows.iter().map(|a| windows.iter().map(|b| clash(a, b)).collect()).collect();
    let degree: Vec<usize> =
        matrix.iter().map(|row| row.iter().filter(|clash| **clash).count()).collect();
    let mut order: Vec<usize> = (0..windows.len()).collect();
    order.sort_by_key(|&n| std::cmp::Reverse(degree[n]));
    let from = |first: usize| {
        let mut clique = vec![first];
        for &next in &order {
            // A flask that does not stand beside one like it does not keep apart from itself.
            if clique.iter().all(|&one| one != next && matrix[one][next]) {
                clique.push(next);
            }
        }
        clique.len()
    };
    order.iter().map(|&first| from(first)).max().unwrap_or(0)
}

/// The fewest loads by start windows and floor alone: every load starts at one minute and takes
/// no more than the roomiest kiln does. For flasks of at least each diameter, taken as of that
/// diameter; serving the earliest end first is least.
fn stabbed(problem: &Problem, model: &Model, windows: &[(Min, Min, FlaskNo)]) -> usize {
    let diameter = |flask: FlaskNo| problem.flasks[usize::from(flask)].diameter_mm;
    let mut diameters: Vec<f64> = windows.iter().map(|window| diameter(window.2)).collect();
    diameters.sort_by(f64::total_cmp);
    diameters.dedup();
    let mut fewest = 0;
    for least in diameters {
        let mut open: Vec<(Min, Min)> = windows
            .iter()
            .filter(|window| diameter(window.2) >= least)
            .map(|window| (window.1, window.0))
            .collect();
        let most = (0..model.kilns.len())
            .map(|kiln| most_at_once(problem, kiln, least))
            .max()
            .unwrap_or(0)
            .max(1);
        open.sort_unstable();
        let mut loads = 0;
        while let Some(&(at, _)) = open.first() {
            loads += 1;
            let mut left = most;
            open.retain(|&(_, ready)| {
                let taken = left > 0 && ready <= at;
                left -= usize::from(taken);
                !taken
            });
        }
        fewest = fewest.max(loads);
    }
    fewest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_assignment_is_the_least_of_all_permutations() {
        let mut random = crate::random::Random::new(3);
        for size in 1..=6 {
            for _ in 0..40 {
                let costs: Vec<Vec<i64>> = (0..size)
                    .map(|_| (0..size + 1).map(|_| random.below(30) as i64).collect())
                    .collect();
                assert_eq!(
                    least_assignment(&costs),
                    by_trying(&costs, 0, &mut vec![false; size + 1])
                );
            }
        }
        assert_eq!(least_assignment(&[]), 0);
    }

    fn by_trying(costs: &[Vec<i64>], row: usize, taken: &mut Vec<bool>) -> i64 {
        if row == costs.len() {
            return 0;
        }
        (0..taken.len())
            .filter_map(|column| {
                if taken[column] {
                    return None;
                }
                taken[column] = true;
                let cost = costs[row][column] + by_trying(costs, row + 1, taken);
                taken[column] = false;
                Some(cost)
            })
            .min()
            .unwrap()
    }
}
