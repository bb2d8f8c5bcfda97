//! How a studio works: yields and durations, counted and assumed.

use crate::yields::Tally;

use super::Stage;

/// Which minutes a duration is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Clocked {
    /// All of them.
    Wall,
    /// Those in which somebody is there.
    Staffed,
}

/// Durations of one kind: those timed, and what is assumed while they are few.
#[derive(Debug, Clone, PartialEq)]
pub struct Durations {
    /// Which minutes are counted.
    pub clocked: Clocked,
    /// Timed here, in minutes, one for each batch.
    pub timed_min: Vec<i64>,
    /// The assumed median; half take longer.
    pub median_min: f64,
    /// How widely the assumed durations spread: standard deviation of the logarithm.
    pub spread: f64,
    /// The assumption counts like so many timed ones.
    pub prior_weight: f64,
}

/// A stage as the studio does it.
#[derive(Debug, Clone, PartialEq)]
pub struct StageHabit {
    /// Pieces counted.
    pub counted: Tally,
    /// The assumption counts like so many good pieces
    pub prior_good: f64,
    /// and so many failed ones.
    pub prior_bad: f64,
    /// From the stage before until this one begins.
    pub wait: Durations,
    /// From its beginning to its end.
    pub work: Durations,
}

impl StageHabit {
    /// The mean of the yield's distribution.
    #[must_use]
    pub fn expected(&self) -> f64 {
        let (good, bad) = self.beta();
        good / (good + bad)
    }

    /// Parameters of the yield's distribution: good and bad, counted and assumed.
    #[must_use]
    pub fn beta(&self) -> (f64, f64) {
        (
            self.prior_good + f64::from(self.counted.good),
            self.prior_bad + f64::from(self.counted.bad),
        )
    }
}

/// How a studio works.
#[derive(Debug, Clone, PartialEq)]
pub struct Habits {
    /// By stage. Waits and works of burnout and cast are left out of account: the plan says them.
    pub stages: [StageHabit; 6],
    /// From the planned end of a pour until the casting can be worked on: what the plan was late
    /// by, cooling, divesting.
    pub after_pour: Durations,
}

impl Habits {
    /// A stage's habit.
    #[must_use]
    pub const fn stage(&self, stage: Stage) -> &StageHabit {
        &self.stages[stage.place()]
    }
}

/// What is assumed of a studio of which nothing is known: yields from 90 % in printing to 98 % in
/// curing and burnout, each counting like ten pieces, and unhurried times, each counting like
/// four batches. Common practice, no source.
#[must_use]
pub fn usual_habits() -> Habits {
    let durations = |clocked, median_min, spread| Durations {
        clocked,
        timed_min: Vec::new(),
        median_min,
        spread,
        prior_weight: 4.0,
    };
    let stage = |good: f64, wait: f64, work: Durations| StageHabit {
        counted: Tally::default(),
        prior_good: good * 10.0,
        prior_bad: (1.0 - good) * 10.0,
        wait: durations(Clocked::Staffed, wait, 0.8),
        work,
    };
    Habits {
        stages: [
            stage(0.90, 480.0, durations(Clocked::Wall, 420.0, 0.4)),
            stage(0.98, 120.0, durations(Clocked::Wall, 90.0, 0.4)),
            stage(0.96, 360.0, durations(Clocked::Wall, 300.0, 0.4)),
            stage(0.98, 0.0, durations(Clocked::Wall, 0.0, 0.0)),
            stage(0.92, 0.0, durations(Clocked::Wall, 0.0, 0.0)),
            stage(0.96, 480.0, durations(Clocked::Staffed, 120.0, 0.6)),
        ],
        after_pour: durations(Clocked::Wall, 90.0, 0.5),
    }
}
