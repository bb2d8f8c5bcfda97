//! Sending an order through the stages many times over.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::plan::{Calendar, Opening};
use crate::random::Random;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::Stage;
use super::draw::{beta, binomial, normal};
use super::habits::{Clocked, Durations, Habits, StageHabit};
use super::hours::staffed_until;

/// A run with so many steps is given up.
const MOST_STEPS: usize = 20_000;
/// The fewest runs from which a chance is told.
const FEWEST_RUNS: u32 = 100;
/// The most.
const MOST_RUNS: u32 = 1_000_000;
/// The most pieces of an order.
const MOST_PIECES: u32 = 100_000;

/// Pieces that go together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Of which line of the order.
    pub line: usize,
    /// How many.
    pub pieces: u32,
    /// The stage they are at.
    pub stage: Stage,
    /// How far they are in it.
    pub progress: Progress,
}

/// How far pieces are in their stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Waiting since this minute; for burnout: to be fired from this minute on.
    Waiting {
        /// When the stage before was done, or the flask has set.
        since_min: i64,
    },
    /// In hand since this minute.
    InHand {
        /// When it began.
        since_min: i64,
    },
    /// In a flask whose pour is planned to end then; any stage from invest to cast.
    Planned {
        /// When the pour ends by the plan.
        poured_min: i64,
    },
    /// Good and ready.
    Ready,
}

/// What the order goes through.
#[derive(Debug, Clone)]
pub struct Way<'a> {
    /// The time of asking; nothing happens before.
    pub now_min: i64,
    /// When somebody is there.
    pub calendar: &'a Calendar,
    /// How the studio works.
    pub habits: &'a Habits,
    /// From investing until a flask may be fired.
    pub bench_set_min: i64,
    /// When a flask more could be poured.
    pub openings: &'a [Opening],
    /// Nothing waits for anything but a person to be there: what hurrying the order would give.
    pub rush: bool,
}

/// When an order is ready, with the chance of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// How many runs there were.
    pub runs: u32,
    /// The minutes at which the order was ready, ascending; runs that did not end within the
    /// openings are left out.
    ready_min: Vec<i64>,
}

impl Forecast {
    /// The minute by which the order is ready with this chance, not a share of one minute
    /// sooner; none when so many runs did not end within the time looked at.
    ///
    /// The order statistic is the one whose expected coverage is the chance, so that few runs
    /// promise less, not more.
    #[must_use]
    pub fn ready_by(&self, chance: f64) -> Option<i64> {
        let place = (chance.clamp(0.0, 1.0) * (f64::from(self.runs) + 1.0)).ceil() as usize;
        self.ready_min.get(place.max(1) - 1).copied()
    }

    /// The chance that the order is ready by a minute.
    #[must_use]
    pub fn chance_by(&self, minute: i64) -> f64 {
        let by_then = self.ready_min.partition_point(|&ready| ready <= minute);
        by_then as f64 / f64::from(self.runs)
    }
}

/// Why a promise cannot be computed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PromiseRefusal {
    /// No piece at all.
    #[error("the order has no pieces")]
    NoPieces,
    /// Too many.
    #[error("{pieces} pieces are more than can be followed; at most {MOST_PIECES}")]
    TooMany {
        /// How many there are.
        pieces: u64,
    },
    /// Too few or too many runs.
    #[error("{given} runs; from {FEWEST_RUNS} to {MOST_RUNS} are needed")]
    Runs {
        /// How many were asked for.
        given: u32,
    },
    /// Nobody is ever there.
    #[error("no working hours are told, so no day can be promised; tell when somebody is there")]
    NoHours,
    /// The flask fits no kiln, or no pour falls in working hours.
    #[error(
        "no kiln and furnace was found for a flask of this kind in the time looked at, so no day can be promised"
    )]
    NoOpening,
    /// An assumption that is no distribution.
    #[error("{what} must be a number above 0")]
    Assumption {
        /// Which.
        what: String,
    },
}

/// Sends an order through what is left, `runs` times.
///
/// For each line `needed` of its pieces have to become good; more pieces than that are spares.
/// What fails beyond the spares is printed again. Pieces that stand together stay together: they
/// share their waits and works, and fail each for itself with the yield of the run.
///
/// The same seed gives the same forecast on every machine.
///
/// # Accuracy
/// A chance from `n` runs has a standard error of √(p(1 − p)/n): 0.9 from 2000 runs is 0.9 ± 0.007.
///
/// # Assumes
/// Yields are the same for all designs, waits do not depend on what else is in the studio but by
/// the openings of kiln and furnace.
///
/// # Refuses
/// No pieces, too many, no hours, no opening when one is needed, priors that are not positive.
pub fn forecast(
    groups: &[Group],
    needed: &[u32],
    way: &Way<'_>,
    runs: u32,
    seed: u64,
) -> Result<Worked<Forecast>, PromiseRefusal> {
    check(groups, needed, way, runs)?;
    let mut random = Random::new(seed);
    let mut ready_min: Vec<i64> = (0..runs)
        .filter_map(|_| {
            let yields = Stage::ALL.map(|stage| {
                let (good, bad) = way.habits.stage(stage).beta();
                beta(&mut random, good, bad)
            });
            Run { way, yields, random: &mut random }.ready(groups, needed)
        })
        .collect();
    ready_min.sort_unstable();
    let value = Forecast { runs, ready_min };
    let working = working(groups, way, &value, seed);
    Ok(Worked { value, working })
}

fn check(groups: &[Group], needed: &[u32], way: &Way<'_>, runs: u32) -> Result<(), PromiseRefusal> {
    let pieces: u64 = groups.iter().map(|group| u64::from(group.pieces)).sum::<u64>()
        + needed.iter().map(|&n| u64::from(n)).sum::<u64>();
    if pieces == 0 || groups.is_empty() {
        return Err(PromiseRefusal::NoPieces);
    }
    if pieces > u64::from(MOST_PIECES) {
        return Err(PromiseRefusal::TooMany { pieces });
    }
    if !(FEWEST_RUNS..=MOST_RUNS).contains(&runs) {
        return Err(PromiseRefusal::Runs { given: runs });
    }
    if staffed_until(way.calendar, way.now_min, 0).is_none() {
        return Err(PromiseRefusal::NoHours);
    }
    let positive = |value: f64, what: String| {
        if value.is_finite() && value > 0.0 {
            Ok(())
        } else {
            Err(PromiseRefusal::Assumption { what })
        }
    };
    for stage in Stage::ALL {
        let habit = way.habits.stage(stage);
        positive(habit.prior_good, format!("the assumed good pieces of {}", stage.name()))?;
        positive(habit.prior_bad, format!("the assumed failed pieces of {}", stage.name()))?;
    }
    let needs_opening = |group: &Group| {
        group.stage < Stage::Finish
            && matches!(group.progress, Progress::Waiting { .. } | Progress::InHand { .. })
    };
    if way.openings.is_empty() && groups.iter().any(needs_opening) {
        return Err(PromiseRefusal::NoOpening);
    }
    Ok(())
}

/// Pieces on their way in one run, done with a stage at a minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Moving {
    at_min: i64,
    line: usize,
    pieces: u32,
    /// The stage whose end this is.
    stage: Stage,
    /// The first stage whose yield has not been applied yet.
    unproved: Stage,
}

struct Run<'a, 'w> {
    way: &'a Way<'w>,
    yields: [f64; 6],
    random: &'a mut Random,
}

impl Run<'_, '_> {
    /// When enough pieces of every line are good.
    fn ready(&mut self, groups: &[Group], needed: &[u32]) -> Option<i64> {
        let lines = needed.len().max(groups.iter().map(|group| group.line + 1).max().unwrap_or(0));
        let mut wanted: Vec<u32> = needed.to_vec();
        wanted.resize(lines, 0);
        let mut good = vec![0_u32; lines];
        let mut alive = vec![0_u32; lines];
        let mut moving: BinaryHeap<Reverse<Moving>> = BinaryHeap::new();
        let mut last = self.way.now_min;
        for group in groups.iter().filter(|group| group.pieces > 0) {
            alive[group.line] += group.pieces;
            match self.begin(group) {
                None => good[group.line] += group.pieces,
                Some(end) => moving.push(Reverse(end?)),
            }
        }
        for (line, &wanted) in wanted.iter().enumerate() {
            if alive[line] < wanted {
                let again = self.again(self.way.now_min, line, wanted - alive[line])?;
                alive[line] = wanted;
                moving.push(Reverse(again));
            }
        }
        let mut steps = 0;
        let done = |good: &[u32]| good.iter().zip(&wanted).all(|(have, want)| have >= want);
        while !done(&good) {
            steps += 1;
            let Reverse(one) = moving.pop().filter(|_| steps <= MOST_STEPS)?;
            last = last.max(one.at_min);
            let mut left = one.pieces;
            for stage in &Stage::ALL[one.unproved.place()..=one.stage.place()] {
                left = binomial(self.random, left, self.yields[stage.place()]);
            }
            alive[one.line] -= one.pieces - left;
            if alive[one.line] < wanted[one.line] {
                let again = self.again(one.at_min, one.line, wanted[one.line] - alive[one.line])?;
                alive[one.line] = wanted[one.line];
                moving.push(Reverse(again));
            }
            if left == 0 {
                continue;
            }
            if one.stage == Stage::Finish {
                good[one.line] += left;
            } else {
                moving.push(Reverse(self.next(Moving { pieces: left, ..one })?));
            }
        }
        Some(last)
    }

    /// Where a group is when the run begins; none within for those that are ready.
    fn begin(&mut self, group: &Group) -> Option<Option<Moving>> {
        let now = self.way.now_min;
        let one = Moving {
            at_min: now,
            line: group.line,
            pieces: group.pieces,
            stage: group.stage,
            unproved: group.stage,
        };
        let habit = self.way.habits.stage(group.stage);
        Some(match group.progress {
            Progress::Ready => return None,
            Progress::Planned { poured_min } => self.poured(one, poured_min.max(now)),
            Progress::Waiting { since_min } | Progress::InHand { since_min }
                if matches!(group.stage, Stage::Burnout | Stage::Cast) =>
            {
                self.fired(one, since_min.max(now))
            }
            Progress::Waiting { since_min } => {
                let begun = self.wait(habit, since_min.min(now))?;
                self.finished(one, habit, begun.max(now))
            }
            Progress::InHand { since_min } => {
                let end = self.work(&habit.work, since_min.min(now))?;
                self.enter_kiln(Moving { at_min: end, ..one })
            }
        })
    }

    /// New pieces, from the printer on.
    fn again(&mut self, at_min: i64, line: usize, pieces: u32) -> Option<Moving> {
        let stage = Stage::Print;
        self.stage(Moving { at_min, line, pieces, stage, unproved: stage })
    }

    /// The stage after the one that is done.
    fn next(&mut self, one: Moving) -> Option<Moving> {
        let stage = *Stage::ALL.get(one.stage.place() + 1)?;
        self.stage(Moving { stage, unproved: stage, ..one })
    }

    /// A whole stage with its wait.
    fn stage(&mut self, one: Moving) -> Option<Moving> {
        if matches!(one.stage, Stage::Burnout | Stage::Cast) {
            return self.fired(one, one.at_min + self.way.bench_set_min.max(0));
        }
        let habit = self.way.habits.stage(one.stage);
        let begun = self.wait(habit, one.at_min)?;
        self.finished(one, habit, begun)
    }

    fn finished(&mut self, one: Moving, habit: &StageHabit, begun: i64) -> Option<Moving> {
        let end = self.draw_from(&habit.work, begun)?;
        self.enter_kiln(Moving { at_min: end, ..one })
    }

    /// What is done when nobody is there is taken up when somebody is, but for a flask that has set:
    /// the plan waits for that itself.
    fn enter_kiln(&mut self, one: Moving) -> Option<Moving> {
        if one.stage == Stage::Invest {
            return Some(one);
        }
        let at_min = staffed_until(self.way.calendar, one.at_min, 0)?;
        Some(Moving { at_min, ..one })
    }

    /// Through kiln and furnace by the first opening.
    fn fired(&mut self, one: Moving, ready_min: i64) -> Option<Moving> {
        let openings = self.way.openings;
        let first = openings.partition_point(|opening| opening.ready_by_min < ready_min);
        let poured = openings.get(first)?.poured_min;
        self.poured(one, poured)
    }

    /// After the planned end of the pour.
    fn poured(&mut self, one: Moving, poured_min: i64) -> Option<Moving> {
        let end = self.draw_from(&self.way.habits.after_pour, poured_min)?;
        let at_min = staffed_until(self.way.calendar, end, 0)?;
        Some(Moving { at_min, stage: Stage::Cast, ..one })
    }

    /// When a stage begins that could since a minute.
    fn wait(&mut self, habit: &StageHabit, since_min: i64) -> Option<i64> {
        let now = self.way.now_min;
        if self.way.rush {
            return staffed_until(self.way.calendar, since_min.max(now), 0);
        }
        self.later(&habit.wait, since_min)
    }

    /// When something that began at a minute ends.
    fn work(&mut self, work: &Durations, since_min: i64) -> Option<i64> {
        self.later(work, since_min)
    }

    /// A duration from a minute on, given that it has not ended yet.
    fn later(&mut self, durations: &Durations, since_min: i64) -> Option<i64> {
        let now = self.way.now_min;
        for _ in 0..8 {
            let end = self.draw_from(durations, since_min)?;
            if end >= now {
                return Some(end);
            }
        }
        // It has taken longer than any before: as if begun anew.
        self.draw_from(durations, now.max(since_min))
    }

    fn draw_from(&mut self, durations: &Durations, from_min: i64) -> Option<i64> {
        let timed = durations.timed_min.len() as f64;
        let all = timed + durations.prior_weight.max(0.0);
        let pick = self.random.unit() * all.max(f64::MIN_POSITIVE);
        let minutes = match durations.timed_min.get(pick as usize) {
            Some(&minutes) if pick < timed => minutes,
            _ => {
                let spread = (durations.spread * normal(self.random)).exp();
                (durations.median_min * spread).clamp(0.0, 1e7).round() as i64
            }
        };
        match durations.clocked {
            Clocked::Wall => Some(from_min + minutes),
            Clocked::Staffed => staffed_until(self.way.calendar, from_min, minutes),
        }
    }
}

/// What the forecast rests on.
fn working(groups: &[Group], way: &Way<'_>, forecast: &Forecast, seed: u64) -> Working {
    let mut working = Working::default();
    let pieces: u32 = groups.iter().map(|group| group.pieces).sum();
    for stage in Stage::ALL {
        let habit = way.habits.stage(stage);
        working.step(
            "(good + assumed good) ÷ (counted + assumed)",
            vec![
                Figure::count(
                    "good",
                    i64::from(habit.counted.good),
                    "pieces",
                    Source::MeasuredHere,
                ),
                Figure::count(
                    "failed",
                    i64::from(habit.counted.bad),
                    "pieces",
                    Source::MeasuredHere,
                ),
                Figure::real("assumed good", habit.prior_good, "pieces", Source::CommonPractice),
                Figure::real("assumed failed", habit.prior_bad, "pieces", Source::CommonPractice),
            ],
            Figure::real(
                format!("expected yield of {}", stage.name()),
                habit.expected() * 100.0,
                "%",
                Source::Computed,
            ),
        );
    }
    let whole: f64 = Stage::ALL.iter().map(|&stage| way.habits.stage(stage).expected()).product();
    working.step(
        "product of the six",
        Vec::new(),
        Figure::real("expected yield of the whole way", whole * 100.0, "%", Source::Computed),
    );
    working.step(
        "share of runs that are ready; in each, yields and times are drawn anew and failed pieces printed again",
        vec![
            Figure::count("pieces", i64::from(pieces), "pieces", Source::Entered),
            Figure::count("runs", i64::from(forecast.runs), "runs", Source::Entered),
            Figure::count("seed", seed as i64, "", Source::Entered),
        ],
        Figure::count(
            "runs that ended in the time looked at",
            forecast.ready_min.len() as i64,
            "runs",
            Source::Computed,
        ),
    );
    let timed: usize = [Stage::Print, Stage::Cure, Stage::Invest, Stage::Finish]
        .iter()
        .map(|&stage| way.habits.stage(stage).work.timed_min.len())
        .min()
        .unwrap_or(0);
    if timed < 5 {
        working.warn("Few batches have been timed yet: the days rest mostly on assumed times.");
    }
    working
}
