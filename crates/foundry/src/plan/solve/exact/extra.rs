//! What a load counts beyond tardiness: moves from an accepted plan, wetting, dear hours.
//!
//! All three follow from the start of the load, and not all of them get worse with time: a later
//! start may be the accepted one, or cheaper to heat at. The search therefore knows of each load
//! from when until when it may start, counts the least of that span, and divides the span where
//! the least is not at its beginning ([`Extra::split`]). In a part that begins with its least the
//! earliest times are the best ones again.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};

/// What a set of flasks counts by the start of its load.
#[derive(Debug, Clone, Default)]
pub(super) struct Extra {
    programme: u16,
    /// What counts when all that have an accepted place leave it.
    moved: i64,
    /// Accepted kilns and starts, and what less counts there.
    accepted: Vec<(usize, Min, i64)>,
    /// Starts after which somebody has to be wetted again, and what that counts.
    wetted: Vec<(Min, i64)>,
    /// Some hours are dear.
    dear: bool,
}

impl Extra {
    pub(super) fn new(model: &Model, flasks: &[FlaskNo], programme: u16) -> Self {
        let mut extra = Self { programme, dear: !model.dear_hours.is_empty(), ..Self::default() };
        for &flask in flasks {
            let spec = &model.flasks[usize::from(flask)];
            extra.wetted.extend(spec.rewet);
            let Some((kiln, start)) = spec.accepted.filter(|_| model.per_move > 0) else {
                continue;
            };
            extra.moved += model.per_move;
            let here = |one: &&mut (usize, Min, i64)| (one.0, one.1) == (kiln, start);
            match extra.accepted.iter_mut().find(here) {
                Some(one) => one.2 += model.per_move,
                None => extra.accepted.push((kiln, start, model.per_move)),
            }
        }
        extra.wetted.sort_unstable();
        extra
    }

    /// Whether nothing counts but tardiness.
    pub(super) fn is_nothing(&self) -> bool {
        self.moved == 0 && self.wetted.is_empty() && !self.dear
    }

    /// The accepted starts in a kiln from a minute on.
    pub(super) fn kept_from(&self, kiln: usize, from: Min) -> impl Iterator<Item = Min> {
        self.accepted.iter().filter(move |one| one.0 == kiln && one.1 >= from).map(|one| one.1)
    }

    /// What counts when the load starts at a minute.
    pub(super) fn at(&self, model: &Model, kiln: usize, start: Min) -> i64 {
        let here = self.accepted.iter().find(|one| (one.0, one.1) == (kiln, start));
        let kept = here.map_or(0, |one| one.2);
        let lit = start + model.load_min;
        let dear = if self.dear { model.dear(kiln, self.programme, lit) } else { 0 };
        self.moved - kept + self.wetting(start) + dear
    }

    /// The least that counts over all starts of a span, and the first of the starts tried that
    /// counts so little.
    pub(super) fn least(&self, model: &Model, kiln: usize, from: Min, until: Min) -> (i64, Min) {
        if self.is_nothing() {
            return (0, from);
        }
        let kept = self.kept_from(kiln, from).filter(|&start| start <= until);
        let kept = kept.map(|start| (self.at(model, kiln, start), start));
        kept.chain([self.least_moved(model, kiln, from, until)]).min().unwrap_or((0, from))
    }

    /// The same when nobody keeps an accepted place.
    pub(super) fn least_moved(
        &self,
        model: &Model,
        kiln: usize,
        from: Min,
        until: Min,
    ) -> (i64, Min) {
        let mut best = (i64::MAX, from);
        let mut begin = from;
        // Wetting counts more from step to step, so later steps matter only for cheaper hours.
        loop {
            let step = self.wetted.iter().map(|one| one.0).find(|&latest| latest >= begin);
            let end = step.map_or(until, |latest| latest.min(until)).max(begin);
            let (dear, at) = self.least_dear(model, kiln, begin, end);
            best = best.min((self.moved + self.wetting(begin) + dear, at));
            if !self.dear || dear == 0 || end >= until {
                return best;
            }
            begin = end + 1;
        }
    }

    /// Where to divide a span whose least is not at its beginning: the first minute of the later
    /// part; none when it is.
    pub(super) fn split(&self, model: &Model, kiln: usize, from: Min, until: Min) -> Option<Min> {
        let (least, at) = self.least(model, kiln, from, until);
        if at == from {
            return None;
        }
        // Where it falls at once, there; where it falls slowly, half way.
        let fall = self.at(model, kiln, from) - least;
        let last = self.at(model, kiln, at - 1) - least;
        Some(if 2 * last >= fall { at } else { from + (at - from + 1) / 2 })
    }

    fn wetting(&self, start: Min) -> i64 {
        self.wetted.iter().filter(|one| start > one.0).map(|one| one.1).sum()
    }

    /// The least that dear hours count over the starts of a span in which staff are there.
    ///
    /// It changes evenly between the minutes at which a ramp begins or ends together with dear
    /// hours, so its least is at one of these or at an end.
    fn least_dear(&self, model: &Model, kiln: usize, from: Min, until: Min) -> (i64, Min) {
        const WEEK: Min = 7 * 1440;
        if !self.dear {
            return (0, from);
        }
        let count = |start: Min| (model.dear(kiln, self.programme, start + model.load_min), start);
        let mut best: Option<(i64, Min)> = None;
        for (first, last) in model.load_starts.within(from, until) {
            let mut tried = count(first).min(count(last));
            for &(dear_from, dear_to, _) in &model.dear_hours {
                for &(begin, end) in &model.burn(kiln, self.programme).ramps {
                    for (dear, ramp) in
                        [(dear_from, begin), (dear_from, end), (dear_to, begin), (dear_to, end)]
                    {
                        let of_week = dear - ramp - model.load_min;
                        let start = first + (of_week - first).rem_euclid(WEEK);
                        if start < last {
                            tried = tried.min(count(start));
                        }
                    }
                }
            }
            best = Some(best.map_or(tried, |best| best.min(tried)));
            if tried.0 == 0 {
                break;
            }
        }
        // Without a start in the span nothing starts there.
        best.unwrap_or((0, from))
    }
}
