//! Firings that were computed lately: the same loads are drawn and planned again and again.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use rayon::prelude::*;

use super::heat_line::{HeatLine, Inside, heat_line};
use super::programme::SegmentRow;
use crate::lately::Lately;

/// A programme, and what stands in the kiln.
type Asked = (Vec<SegmentRow>, Option<Inside>);

/// At most so many lines are kept, the newest; about 40 kB each.
const MOST_LINES: usize = 256;
/// What programmes take longer is a number each.
const MOST_MINUTES: usize = 4096;

/// By programme, flask, kiln and number of flasks, written out.
static LINES: LazyLock<Mutex<Lately<HeatLine>>> =
    LazyLock::new(|| Mutex::new(Lately::at_most(MOST_LINES)));
static MINUTES: LazyLock<Mutex<Lately<i64>>> =
    LazyLock::new(|| Mutex::new(Lately::at_most(MOST_MINUTES)));

/// Heat lines in the order in which they are asked for; each is computed once, beside each other
/// where they are not known yet. Takes milliseconds for each of those: not for a serving thread.
#[must_use]
pub fn heat_lines(asked: &[Asked]) -> Vec<Arc<HeatLine>> {
    known(&LINES, asked, heat_line)
}

/// How many minutes longer than their programmes firings take, 0 where a kiln keeps to it, in the
/// order in which they are asked for; each is computed once, not for a serving thread either.
#[must_use]
pub fn longer_minutes(asked: &[Asked]) -> Vec<i64> {
    let longer = |segments: &[SegmentRow], inside: Option<&Inside>| {
        heat_line(segments, inside).longer_min().unwrap_or(0)
    };
    known(&MINUTES, asked, longer).into_iter().map(|minutes| *minutes).collect()
}

fn known<V: Default + Send + Sync>(
    kept: &Mutex<Lately<V>>,
    asked: &[Asked],
    compute: impl Fn(&[SegmentRow], Option<&Inside>) -> V + Sync,
) -> Vec<Arc<V>> {
    let keys: Vec<String> = asked.iter().map(|one| format!("{one:?}")).collect();
    let mut found: HashMap<&String, Arc<V>> = HashMap::new();
    {
        let kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        for key in &keys {
            if let Some(answer) = kept.get(key) {
                found.insert(key, answer);
            }
        }
    }
    let mut seen = HashSet::new();
    let missing: Vec<_> = keys
        .iter()
        .zip(asked)
        .filter(|(key, _)| !found.contains_key(key) && seen.insert(*key))
        .collect();
    let computed: Vec<_> = missing
        .into_par_iter()
        .map(|(key, (segments, inside))| (key, Arc::new(compute(segments, inside.as_ref()))))
        .collect();
    if !computed.is_empty() {
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        for (key, answer) in &computed {
            kept.keep((*key).clone(), answer.clone());
        }
    }
    found.extend(computed);
    keys.iter().map(|key| found.get(key).cloned().unwrap_or_default()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kilns::SegmentKind;

    #[test]
    fn the_same_is_computed_once() {
        let programme = |minutes| {
            let row = SegmentRow { kind: SegmentKind::Ramp, target_c: 300.0, minutes };
            (vec![row], None)
        };
        let asked = [programme(61), programme(62), programme(61)];
        let lines = heat_lines(&asked);
        assert_eq!(lines[0].minutes, 61);
        assert_eq!(lines[1].minutes, 62);
        assert!(Arc::ptr_eq(&lines[0], &lines[2]));
        assert!(Arc::ptr_eq(&heat_lines(&asked)[0], &lines[0]));
        assert_eq!(longer_minutes(&asked), [0, 0, 0]);
    }
}
