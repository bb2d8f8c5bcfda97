//! The n-th pour of all, and who takes it: tardiness bounded by an assignment.

use crate::plan::calendar::Min;
use crate::plan::model::Model;

use super::Relaxed;

/// Least tardiness when the n-th pour of all is no earlier than kilns and furnace allow.
pub(super) fn assignment(model: &Model, flasks: &[Relaxed], at_once: &[usize]) -> i64 {
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
    let least_programme = flasks
        .iter()
        .map(|flask| model.flasks[usize::from(flask.flask)].programme)
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
        let shortest = model.least_burn(kiln, least_programme);
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
