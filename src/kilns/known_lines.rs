//! Heat lines that were computed lately: the same loads are drawn again and again.

use std::collections::{HashMap, HashSet, VecDeque};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use rayon::prelude::*;

use super::heat_line::{HeatLine, Inside, heat_line};
use super::programme::SegmentRow;

/// At most so many are kept, the newest; about 40 kB each.
const MOST: usize = 256;

/// What a heat line follows from, written out: programme, flask, kiln and number of flasks.
type Key = String;

#[derive(Default)]
struct Known {
    lines: HashMap<Key, Arc<HeatLine>>,
    /// In the order in which they came.
    order: VecDeque<Key>,
}

impl Known {
    fn keep(&mut self, key: Key, line: Arc<HeatLine>) {
        if self.lines.insert(key.clone(), line).is_none() {
            self.order.push_back(key);
        }
        while self.order.len() > MOST {
            if let Some(oldest) = self.order.pop_front() {
                self.lines.remove(&oldest);
            }
        }
    }
}

static KNOWN: LazyLock<Mutex<Known>> = LazyLock::new(Mutex::default);

/// Heat lines in the order in which they are asked for; each is computed once, beside each other
/// where they are not known yet. Takes milliseconds for each of those: not for a serving thread.
#[must_use]
pub fn heat_lines(asked: &[(Vec<SegmentRow>, Option<Inside>)]) -> Vec<Arc<HeatLine>> {
    let keys: Vec<Key> = asked.iter().map(|one| format!("{one:?}")).collect();
    let mut found: HashMap<&Key, Arc<HeatLine>> = HashMap::new();
    {
        let known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        for key in &keys {
            if let Some(line) = known.lines.get(key) {
                found.insert(key, line.clone());
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
        .map(|(key, (segments, inside))| (key, Arc::new(heat_line(segments, inside.as_ref()))))
        .collect();
    if !computed.is_empty() {
        let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        for (key, line) in &computed {
            known.keep((*key).clone(), line.clone());
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
    fn the_same_is_computed_once_and_old_ones_make_room() {
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
        let mut known = Known::default();
        for n in 0..MOST + 5 {
            known.keep(n.to_string(), Arc::default());
            known.keep(n.to_string(), Arc::default());
        }
        assert_eq!((known.lines.len(), known.order.len()), (MOST, MOST));
        assert!(!known.lines.contains_key("4") && known.lines.contains_key("5"));
    }
}
