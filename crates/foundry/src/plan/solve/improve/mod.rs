//! Improves a first schedule until the time is used up or the best is proved: two searches beside
//! each other, each on a thread of its own; where a problem is small, one of them and a search
//! through to the end.

mod cross;
mod ladder;
mod searcher;
#[cfg(test)]
mod tests;

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use crate::plan::floor::Floors;
use crate::plan::outcome::Bound;

use super::bound::Bounds;
use super::exact::Exact;
use super::schedule::Schedule;
use super::{Control, Options, Progress, Search};
use searcher::{STEPS, Searcher};

/// The two searches wait for each other after so many steps,
const TURN: u64 = 16 * 1024;
/// and once this share of the time is used tell each other the best they know. Earlier they would
/// soon look in the same place.
const SHARE_FROM: f64 = 0.5;
/// From this share on the first joins its best with the other's when one of them has changed.
const CROSS_FROM: f64 = 0.2;
/// Nodes of the search through to the end between two looks at the clock: about as long as the
/// annealing between them.
const NODES: usize = 100;
/// What the seed of the second search differs by.
const OTHER_SEED: u64 = 0x9e37_79b9_7f4a_7c15;

/// The best schedule seen, and whether it is proved to be the best there is.
pub(super) type Improved<'m> = (Schedule<'m>, bool);

/// What the search that looks at the clock tells the other one.
#[derive(Debug)]
struct Pace {
    /// The share of the time allowed that is used up, as bits.
    used: AtomicU64,
    /// The turn is over, whether or not all its steps are made.
    over: AtomicBool,
}

impl Pace {
    fn new(used: f64) -> Self {
        Self { used: AtomicU64::new(used.to_bits()), over: AtomicBool::new(false) }
    }
}

/// Improves a first schedule.
pub(super) fn improve<'m>(
    search: &Search<'_, 'm>,
    first: Schedule<'m>,
    floors: &mut Floors,
    options: &Options,
    bounds: &Bounds,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Improved<'m> {
    let exact = search.search_through(floors);
    // What is searched through to the end needs no second search.
    let alone = exact.is_some();
    let searcher = |seed| Searcher::new(search, first.clone(), floors.clone(), seed);
    let Some(own) = searcher(options.seed) else { return (first, false) };
    let mut other = if alone { None } else { searcher(options.seed ^ OTHER_SEED) };
    let mut leading = Leading { search, options, bounds, watch, own, exact, shown: false };
    // What both knew when their bests were joined last.
    let mut crossed = Default::default();
    let end = loop {
        let pace = Pace::new(leading.own.used);
        let end = std::thread::scope(|scope| {
            if let Some(other) = &mut other {
                scope.spawn(|| follow(other, options, &pace));
            }
            let end = leading.turn(&pace);
            // Of a limited number of steps both make all, so that the plan is always the same.
            let all_steps = options.most_steps.is_some() && matches!(end, Turn::Done | Turn::Over);
            pace.over.store(!all_steps, Ordering::Relaxed);
            end
        });
        if let Some(other) = &mut other {
            let bests = (leading.own.best_cost, other.best_cost);
            if leading.own.used > CROSS_FROM && bests != crossed {
                leading.own.cross(other);
                crossed = (leading.own.best_cost, other.best_cost);
            }
            if matches!(end, Turn::Over | Turn::Stopped) {
                leading.own.reorder_pours();
                other.reorder_pours();
            }
            if end != Turn::Done || leading.own.used > SHARE_FROM {
                leading.own.share(other);
            }
        }
        if end != Turn::Done {
            break end;
        }
    };
    *floors = leading.own.floors;
    (leading.own.best, end == Turn::Proved)
}

/// A turn of the search that is told how much time is left.
fn follow(search: &mut Searcher<'_, '_, '_>, options: &Options, pace: &Pace) {
    for _ in 0..TURN / STEPS {
        if pace.over.load(Ordering::Relaxed) || search.used >= 1.0 {
            return;
        }
        search.step();
        search.spend(f64::from_bits(pace.used.load(Ordering::Relaxed)), options);
    }
}

/// How a turn ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Turn {
    /// All steps made.
    Done,
    /// No time or no steps are left.
    Over,
    /// The caller wants no more, or no plan can be better.
    Stopped,
    /// The best plan is proved to be the best there is.
    Proved,
}

/// The search that looks at the clock.
struct Leading<'s, 'a, 'm> {
    search: &'s Search<'a, 'm>,
    options: &'s Options,
    bounds: &'s Bounds,
    watch: &'s mut dyn FnMut(&Progress) -> Control,
    own: Searcher<'s, 'a, 'm>,
    exact: Option<Exact<'m>>,
    /// The best plan is wanted with the next call.
    shown: bool,
}

impl Leading<'_, '_, '_> {
    fn turn(&mut self, pace: &Pace) -> Turn {
        for _ in 0..TURN / STEPS {
            if self.own.used >= 1.0 {
                return Turn::Over;
            }
            // The bounds know nothing of staying near an accepted plan, wetting and dear hours.
            let best = self.own.best_cost;
            if best.broken == 0 && best.is_plain() && self.bounds.prove(best.objective()) {
                return Turn::Stopped;
            }
            self.own.step();
            if self.search_on() {
                return Turn::Proved;
            }
            match self.look() {
                None => return Turn::Stopped,
                Some(used) => {
                    pace.used.store(used.to_bits(), Ordering::Relaxed);
                    self.own.spend(used, self.options);
                }
            }
        }
        Turn::Done
    }

    /// Searches on through to the end; true when the best plan is proved.
    fn search_on(&mut self) -> bool {
        let Some(through) = &mut self.exact else { return false };
        let known = (self.own.best_cost.broken == 0).then(|| self.own.best_cost.value());
        if let Some(found) = through.advance(NODES, known, &self.search.settled.units) {
            self.own.best_cost = found.cost();
            self.own.best = found;
        }
        if !through.is_done() {
            return false;
        }
        self.exact = None;
        // With a plan of all flasks there is no better one; without, there is none.
        self.own.best_cost.broken == 0
    }

    /// Tells the caller how far the search is: the share of the time that is used up, or none
    /// when it is to end.
    fn look(&mut self) -> Option<f64> {
        let own = &mut self.own;
        let best = own.best_cost.objective();
        let complete = own.best_cost.broken == 0;
        let bound = if complete { self.bounds.beside(best) } else { Bound::default() };
        let plan = self
            .shown
            .then(|| self.search.write(&mut own.floors, own.best.clone(), Some(self.bounds)));
        let answer = (self.watch)(&Progress { steps: own.steps, best, bound, plan });
        self.shown = matches!(answer, Control::Show { .. });
        match answer {
            Control::Stop => None,
            Control::Go { used } | Control::Show { used } => Some(used.max(0.0)),
        }
    }
}
