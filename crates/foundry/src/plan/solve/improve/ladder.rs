//! Lines of loads at several warmths beside each other, which now and then change places: what is
//! found where nearly everything is accepted sinks to where only what is good stays, and a line
//! that is caught there rises again.
//!
//! # Source
//! K. Hukushima, K. Nemoto, "Exchange Monte Carlo method and application to spin glass
//! simulations", Journal of the Physical Society of Japan 65 (1996) 1604.

use crate::plan::floor::Floors;
use crate::plan::model::Model;
use crate::random::Random;

use super::super::anneal::{Line, Worth};
use super::super::draft::Unit;
use super::super::schedule::{Cost, Schedule};

/// How many lines there are: the warmest pass most of what is in between two good plans, the
/// coldest hardly leaves one.
const LINES: usize = 4;
/// The warmest accepts a day more of one flask's tardiness about one time in e,
const WARMEST_MIN: f64 = 1_500.0;
/// the coldest so much less. Colder ones would do what rounds of annealing do sooner.
const COLDEST: f64 = 0.1;
/// What a breach counts for the warmest and for the coldest, as a share of what it counts in the
/// end: a way to a better plan may lead past a latest start.
const BROKEN: (f64, f64) = (0.003, 0.1);
/// What a load counts as a share of the warmth, and a minute of the end.
const LOAD: f64 = 0.02;
const MAKESPAN: f64 = 1e-4;
/// Each line has so many turns between two exchanges.
const TURNS: usize = 4;

/// The lines, the warmest first.
pub(super) struct Ladder<'m> {
    lines: Vec<Line<'m>>,
    worths: Vec<Worth>,
    turn: usize,
}

impl<'m> Ladder<'m> {
    /// Lines that all begin from one schedule; none when its loads do not find their times again.
    pub(super) fn new(
        model: &Model,
        units: &[Unit],
        begin: &Schedule<'m>,
        seed: u64,
    ) -> Option<Self> {
        let lines = (0..LINES as u64)
            .map(|number| Line::new(begin, units, seed.wrapping_add(number << 32), |_| true))
            .collect::<Option<Vec<_>>>()?;
        let flasks = units.iter().flat_map(|unit| &unit.flasks);
        let weights = flasks.map(|&flask| model.flasks[usize::from(flask)].weight.max(1) as f64);
        let mean_weight = weights.clone().sum::<f64>() / weights.count().max(1) as f64;
        let worths = (0..LINES)
            .map(|number| {
                let down = number as f64 / (LINES - 1) as f64;
                let warmth = WARMEST_MIN * mean_weight * COLDEST.powf(down);
                let broken = BROKEN.0 * (BROKEN.1 / BROKEN.0).powf(down);
                Worth { load: LOAD * warmth, makespan: MAKESPAN, broken, warmth }
            })
            .collect();
        Some(Self { lines, worths, turn: 0 })
    }

    /// So many steps of one line after the other; the best schedule seen that costs less than
    /// what is known.
    pub(super) fn step(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        steps: u64,
        known: Cost,
        random: &mut Random,
    ) -> Option<Schedule<'m>> {
        let number = self.turn % LINES;
        let best = self.lines[number].steps(floors, units, &self.worths[number], steps, known);
        self.turn += 1;
        if self.turn % (LINES * TURNS) == 0 {
            self.exchange(random);
        }
        best
    }

    /// Lines next to each other change places, so often that each warmth keeps its own spread.
    fn exchange(&mut self, random: &mut Random) {
        for number in (1..LINES).rev() {
            let (warm, cold) = (&self.worths[number - 1], &self.worths[number]);
            let [one, other] = [number - 1, number].map(|line| self.lines[line].cost());
            let together = |warmer: &Cost, colder: &Cost| {
                warmer.scalar(warm) / warm.warmth + colder.scalar(cold) / cold.warmth
            };
            let gain = together(&one, &other) - together(&other, &one);
            if gain >= 0.0 || random.unit() < gain.exp() {
                self.lines.swap(number - 1, number);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::super::tests::spoilt;
    use super::*;
    use crate::plan::solve::construct::construct;
    use crate::plan::solve::plan_support;
    use crate::plan::solve::settle::settle;

    #[test]
    fn a_much_better_line_sinks_to_the_coldest_place_and_a_worse_one_rises() {
        let problem = plan_support::problem(5, 30, 3);
        let (model, mut floors) = Model::new(&problem);
        let settled = settle(&problem, &model, &mut floors);
        let units = &settled.units;
        let good = construct(&mut floors, units, &settled.schedule);
        let bad = spoilt(&good, units, |_| true);
        let mut ladder = Ladder::new(&model, units, &bad, 1).unwrap();
        ladder.lines[0] = Line::new(&good, units, 1, |_| true).unwrap();
        let (better, worse) = (ladder.lines[0].cost(), ladder.lines[1].cost());
        assert!(better.delay + 100_000 < worse.delay);
        let mut random = Random::new(1);
        for exchanges in 1..LINES {
            ladder.exchange(&mut random);
            assert_eq!(ladder.lines[exchanges].cost(), better);
        }
        assert!(ladder.lines[..LINES - 1].iter().all(|line| line.cost() == worse));
    }
}
