//! Who of several flasks is poured when, where only their dates tell them apart.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, FlaskSpec};

/// A flask as its lateness sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Member {
    pub(super) flask: FlaskNo,
    /// Latest start of a pour that is in time.
    in_time: Min,
    weight: i64,
}

impl Member {
    pub(super) fn new(flask: FlaskNo, spec: &FlaskSpec) -> Self {
        Self { flask, in_time: spec.in_time, weight: spec.weight }
    }

    fn late(&self, minute: Min) -> i64 {
        self.weight * i64::from((minute - self.in_time).max(0))
    }
}

/// The least tardiness of some flasks over as many rising pours, whoever is poured when.
pub(super) fn least(members: &[Member], pours: &[Min]) -> i64 {
    let (Some(&first), Some(&last)) = (pours.first(), pours.last()) else { return 0 };
    if let [one] = members {
        return one.late(first);
    }
    if members.iter().all(|one| last <= one.in_time) {
        return 0;
    }
    if members.iter().all(|one| first >= one.in_time) {
        // All are late whenever they are poured: the heaviest first.
        let mut weights: Vec<i64> = members.iter().map(|one| one.weight).collect();
        weights.sort_unstable_by(|a, b| b.cmp(a));
        let moved: i64 =
            weights.iter().zip(pours).map(|(weight, &at)| weight * i64::from(at)).sum();
        let due: i64 = members.iter().map(|one| one.weight * i64::from(one.in_time)).sum();
        return moved - due;
    }
    // By sets: the first pours go to each set at least cost.
    let mut best = vec![i64::MAX; 1 << members.len()];
    best[0] = 0;
    for set in 0..1_usize << members.len() {
        let Some(&minute) = pours.get(set.count_ones() as usize) else { break };
        for (n, member) in members.iter().enumerate() {
            if set >> n & 1 == 0 {
                let with = set | 1 << n;
                best[with] = best[with].min(best[set] + member.late(minute));
            }
        }
    }
    best[(1 << members.len()) - 1]
}

/// Each of some rising pours with the flask that is poured then, so that tardiness is least.
pub(super) fn labelled(members: &[Member], pours: &[Min]) -> Vec<(Min, FlaskNo)> {
    let mut left = members.to_vec();
    let mut labelled = Vec::with_capacity(pours.len());
    for (place, &minute) in pours.iter().enumerate() {
        let total = |first: usize| {
            let mut others = left.clone();
            let one = others.remove(first);
            one.late(minute) + least(&others, &pours[place + 1..])
        };
        let best = (0..left.len()).min_by_key(|&n| total(n)).unwrap_or(0);
        labelled.push((minute, left.remove(best).flask));
    }
    labelled
}
