//! The fewest loads that take some flasks.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::problem::Problem;

use super::{MOST_ASSIGNED, Relaxed, most_at_once};

/// The fewest loads, over groups of families that never share one.
pub(super) fn fewest_loads(
    problem: &Problem,
    model: &Model,
    flasks: &[Relaxed],
    in_time: bool,
) -> i64 {
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
                    // Started later it would be late, in any kiln and programme it may share.
                    let kilns = (0..model.kilns.len()).filter(|&kiln| spec.may_use(kiln));
                    let burns = kilns.map(|kiln| model.least_burn(kiln, spec.programme));
                    let burn = burns.min().unwrap_or(0);
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
