//! Heat lines that were computed lately: the same loads are drawn again and again.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use rayon::prelude::*;

use super::heat_line::{HeatLine, Inside, heat_line};
use super::programme::SegmentRow;
use crate::lately::Lately;

/// At most so many are kept, the newest; about 40 kB each.
const MOST: usize = 256;

/// By programme, flask, kiln and number of flasks, written out.
static KNOWN: LazyLock<Mutex<Lately<HeatLine>>> =
    LazyLock::new(|| Mutex::new(Lately::at_most(MOST)));

/// Heat lines in the order in which they are asked for; each is computed once, beside each other
/// where they are not known yet. Takes milliseconds for each of those: not for a serving thread.
#[must_use]
pub fn heat_lines(asked: &[(Vec<SegmentRow>, Option<Inside>)]) -> Vec<Arc<HeatLine>> {
    let keys: Vec<String> = asked.iter().map(|one| format!("{one:?}")).collect();
    let mut found: HashMap<&String, Arc<HeatLine>> = HashMap::new();
    {
        let known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        for key in &keys {
            if let Some(line) = known.get(key) {
                found.insert(key, line);
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
    }
}
