//! A programme run on a flask.

use super::body::{FlaskBody, Grid};
use super::conduction::{KilnHeat, Probe, Solver};
use super::drive::Drive;
use super::power::{J_PER_KWH, Kiln};
use super::programme::Programme;
use super::refusal::HeatRefusal;
use crate::quantity::{Celsius, Kelvins, Minutes};

/// The temperatures at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Minutes from the start.
    pub minute: Minutes,
    /// What the programme asks for.
    pub asked: Celsius,
    /// The kiln.
    pub kiln: Celsius,
    /// The steel wall, or the outermost investment of a bare block, at the core's height.
    pub wall: Celsius,
    /// Half way between axis and wall, at the core's height.
    pub mid: Celsius,
    /// The core: on the axis where the heat arrives last.
    pub core: Celsius,
}

/// A burnout as computed.
#[derive(Debug, Clone, PartialEq)]
pub struct Burnout {
    /// The curves, from minute 0 to the end, at the grid's sampling interval.
    pub samples: Vec<Sample>,
    /// How long it took; longer than the programme when the kiln could not follow.
    pub total: Minutes,
    /// Heat taken up by one flask, in kWh.
    pub flask_kwh: f64,
    /// Electricity drawn by the kiln, in kWh; `None` for an ideal kiln.
    pub kiln_kwh: Option<f64>,
    /// Electricity drawn in each sampling interval, in kWh, in the order of the samples; the
    /// first belongs to the interval that ends at the second sample. Empty for an ideal kiln.
    pub drawn_kwh: Vec<f64>,
    /// Minutes the programme had to wait for the kiln.
    pub waited: Minutes,
    /// Of these, minutes in which the kiln was too hot and could only cool.
    pub waited_cooling: Minutes,
    /// How fast the closed kiln fell while it was too hot, K/h; none when it never was.
    pub fell_k_h: Option<f64>,
}

impl Burnout {
    /// When the core first passes a temperature upwards; `None` if it never does.
    #[must_use]
    pub fn core_passes(&self, temperature: Celsius) -> Option<Minutes> {
        passes(&self.samples, temperature, |sample| sample.core)
    }

    /// When the wall first passes a temperature upwards; `None` if it never does.
    #[must_use]
    pub fn wall_passes(&self, temperature: Celsius) -> Option<Minutes> {
        passes(&self.samples, temperature, |sample| sample.wall)
    }

    /// How long the core is at or above a temperature, in all.
    #[must_use]
    pub fn core_above(&self, temperature: Celsius) -> Minutes {
        let level = temperature.get();
        let mut sum = 0.0;
        for pair in self.samples.windows(2) {
            let takes = (pair[1].minute - pair[0].minute).get();
            let (a, b) = (pair[0].core.get() - level, pair[1].core.get() - level);
            sum += takes
                * match (a >= 0.0, b >= 0.0) {
                    (true, true) => 1.0,
                    (false, false) => 0.0,
                    (true, false) => a / (a - b),
                    (false, true) => b / (b - a),
                };
        }
        Minutes::of(sum)
    }

    /// Core less wall at the end, when the flask is poured; positive when the core is hotter.
    #[must_use]
    pub fn difference_at_pour(&self) -> Kelvins {
        self.samples.last().map_or(Kelvins::ZERO, |sample| sample.core - sample.wall)
    }

    /// The hottest the wall gets.
    #[must_use]
    pub fn hottest_wall(&self) -> Celsius {
        self.samples.iter().fold(Celsius::of(-273.15), |hottest, sample| hottest.max(sample.wall))
    }

    /// The hottest the core gets.
    #[must_use]
    pub fn hottest_core(&self) -> Celsius {
        self.samples.iter().fold(Celsius::of(-273.15), |hottest, sample| hottest.max(sample.core))
    }

    /// The temperatures at a minute, straight between samples; before the first the first, after
    /// the last the last. `None` only when there are no samples.
    #[must_use]
    pub fn at(&self, minute: Minutes) -> Option<Sample> {
        let next = self.samples.partition_point(|sample| sample.minute < minute);
        let after = self.samples.get(next).or(self.samples.last()).copied()?;
        let Some(before) = next.checked_sub(1).map(|before| self.samples[before]) else {
            return Some(after);
        };
        let span = (after.minute - before.minute).get();
        if span <= 0.0 {
            return Some(after);
        }
        let part = ((minute - before.minute).get() / span).clamp(0.0, 1.0);
        let between = |a: Celsius, b: Celsius| a + (b - a) * part;
        Some(Sample {
            minute: before.minute + (after.minute - before.minute) * part,
            asked: between(before.asked, after.asked),
            kiln: between(before.kiln, after.kiln),
            wall: between(before.wall, after.wall),
            mid: between(before.mid, after.mid),
            core: between(before.core, after.core),
        })
    }
}

fn passes(
    samples: &[Sample],
    temperature: Celsius,
    of: impl Fn(&Sample) -> Celsius,
) -> Option<Minutes> {
    let first = samples.first()?;
    if of(first) >= temperature {
        return Some(first.minute);
    }
    samples.windows(2).find(|pair| of(&pair[1]) >= temperature).map(|pair| {
        let (a, b) = (of(&pair[0]).get(), of(&pair[1]).get());
        pair[0].minute + (pair[1].minute - pair[0].minute) * ((temperature.get() - a) / (b - a))
    })
}

/// Runs a programme on a flask.
///
/// # Units
/// Minutes from the start of the programme; °C.
///
/// # Source
/// Fourier's equation in a cylinder with the enthalpy of water and gypsum; see
/// [`InvestmentHeat`](super::InvestmentHeat) for the constants.
///
/// # Assumes
/// The same heat all round the flask; vapour leaves at once; the kiln's walls and gas have one
/// temperature.
///
/// # Accuracy
/// The default grid against the exact solution of a dry block through a whole firing: within
/// 0.5 % of the temperature. The physical uncertainty, chiefly of the conductivity, is far larger.
///
/// # Refuses
/// Values outside their ranges, a kiln that can never reach the programme, and time steps that
/// could not be solved.
pub fn simulate(
    body: &FlaskBody,
    programme: &Programme,
    kiln: &Kiln,
    grid: &Grid,
) -> Result<Burnout, HeatRefusal> {
    let mut run = Run::new(body, programme, kiln, grid)?;
    let mut record = Record::new(&run, grid);
    while let Some(step) = run.advance(None)? {
        record.add(&run, step);
    }
    Ok(record.finish(&run, kiln))
}

/// One step as taken.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Taken {
    pub(crate) seconds: f64,
    pub(crate) drawn_j: f64,
}

/// A flask in a kiln under way.
pub(crate) struct Run<'a> {
    pub(crate) solver: Solver,
    drive: Drive<'a>,
    longest_s: f64,
    next_s: f64,
    pub(crate) now_s: f64,
    pub(crate) flask_j: f64,
}

/// The first step after a corner of the programme, as a part of the longest.
const FIRST_PART: f64 = 1.0 / 8.0;
/// How much longer each following step may be.
const GROWTH: f64 = 1.6;
/// A longest step in which no cell changes by more than this is a quiet one, K.
const QUIET_K: f64 = 0.5;
/// How much longer than the grid's longest a step may be in quiet times.
const LONGER: f64 = 4.0;

impl<'a> Run<'a> {
    pub(crate) fn new(
        body: &FlaskBody,
        programme: &'a Programme,
        kiln: &Kiln,
        grid: &Grid,
    ) -> Result<Self, HeatRefusal> {
        let solver = Solver::new(body, grid)?;
        let drive = Drive::new(programme, kiln)?;
        let longest_s = grid.step.get() * 60.0;
        let next_s = longest_s * FIRST_PART;
        Ok(Self { solver, drive, longest_s, next_s, now_s: 0.0, flask_j: 0.0 })
    }

    /// Takes one step, not beyond `until_s`; `None` when the programme is over.
    pub(crate) fn advance(&mut self, until_s: Option<f64>) -> Result<Option<Taken>, HeatRefusal> {
        let mut dt_s = self.next_s;
        if let Some(until_s) = until_s {
            dt_s = dt_s.min(until_s - self.now_s);
        }
        let Some(plan) = self.drive.plan(dt_s, self.solver.exchange_w_k())? else {
            return Ok(None);
        };
        let heat = KilnHeat { now_c: plan.now_c, end_c: plan.end_c };
        self.solver
            .step(plan.seconds, heat)
            .map_err(|_| HeatRefusal::DidNotConverge { minute: self.now_s / 60.0 })?;
        let taken_j = self.solver.taken_j();
        self.flask_j += taken_j;
        let drawn_j = self.drive.settle(&plan, taken_j);
        self.now_s += plan.seconds;
        self.next_s = if plan.at_corner {
            self.longest_s * FIRST_PART
        } else {
            // Where hardly anything happens, longer steps lose nothing.
            let change_k = self.solver.change_k() * self.longest_s / plan.seconds;
            let stretch = (QUIET_K / change_k.max(1.0e-9)).clamp(1.0, LONGER);
            (plan.seconds * GROWTH).min(self.longest_s * stretch)
        };
        Ok(Some(Taken { seconds: plan.seconds, drawn_j }))
    }

    pub(crate) fn asked_c(&self) -> f64 {
        self.drive.asked_c()
    }

    pub(crate) fn kiln_c(&self) -> f64 {
        self.drive.kiln_c()
    }

    fn waited(&self) -> Minutes {
        Minutes::of(self.drive.waited_s / 60.0)
    }
}

/// Writes the curves down at even intervals.
struct Record {
    wall: Probe,
    mid: Probe,
    core: Probe,
    every_s: f64,
    due_s: f64,
    last_s: f64,
    last: Sample,
    drawn_j: f64,
    booked_j: f64,
    samples: Vec<Sample>,
    drawn_kwh: Vec<f64>,
}

impl Record {
    fn new(run: &Run<'_>, grid: &Grid) -> Self {
        let wall = run.solver.wall_probe();
        let radius_m = run.solver.inside_m();
        let mid = run.solver.probe(radius_m / 2.0, None);
        let core = run.solver.probe(0.0, None);
        let every_s = grid.sample.get() * 60.0;
        let mut record = Self {
            wall,
            mid,
            core,
            every_s,
            due_s: every_s,
            last_s: 0.0,
            last: Sample {
                minute: Minutes::ZERO,
                asked: Celsius::ZERO,
                kiln: Celsius::ZERO,
                wall: Celsius::ZERO,
                mid: Celsius::ZERO,
                core: Celsius::ZERO,
            },
            drawn_j: 0.0,
            booked_j: 0.0,
            samples: Vec::new(),
            drawn_kwh: Vec::new(),
        };
        record.last = record.read(run);
        record.samples.push(record.last);
        record
    }

    fn read(&self, run: &Run<'_>) -> Sample {
        let field = run.solver.field();
        Sample {
            minute: Minutes::of(run.now_s / 60.0),
            asked: Celsius::of(run.asked_c()),
            kiln: Celsius::of(run.kiln_c()),
            wall: Celsius::of(self.wall.read(field)),
            mid: Celsius::of(self.mid.read(field)),
            core: Celsius::of(self.core.read(field)),
        }
    }

    fn add(&mut self, run: &Run<'_>, step: Taken) {
        let now = self.read(run);
        let pair = [self.last, now];
        while self.due_s <= run.now_s + 1.0e-6 {
            let part = ((self.due_s - self.last_s) / step.seconds).clamp(0.0, 1.0);
            let between =
                |of: fn(&Sample) -> Celsius| of(&pair[0]) + (of(&pair[1]) - of(&pair[0])) * part;
            self.samples.push(Sample {
                minute: Minutes::of(self.due_s / 60.0),
                asked: between(|s| s.asked),
                kiln: between(|s| s.kiln),
                wall: between(|s| s.wall),
                mid: between(|s| s.mid),
                core: between(|s| s.core),
            });
            let drawn_j = self.drawn_j + step.drawn_j * part;
            self.drawn_kwh.push((drawn_j - self.booked_j) / J_PER_KWH);
            self.booked_j = drawn_j;
            self.due_s += self.every_s;
        }
        self.drawn_j += step.drawn_j;
        self.last_s = run.now_s;
        self.last = now;
    }

    fn finish(mut self, run: &Run<'_>, kiln: &Kiln) -> Burnout {
        let sampled = self.samples.last().map_or(0.0, |sample| sample.minute.get() * 60.0);
        if run.now_s - sampled > 1.0e-6 {
            self.samples.push(self.last);
            self.drawn_kwh.push((self.drawn_j - self.booked_j) / J_PER_KWH);
        }
        let powered = matches!(kiln, Kiln::Powered { .. });
        Burnout {
            samples: self.samples,
            total: Minutes::of(run.now_s / 60.0),
            flask_kwh: run.flask_j / J_PER_KWH,
            kiln_kwh: powered.then_some(self.drawn_j / J_PER_KWH),
            drawn_kwh: if powered { self.drawn_kwh } else { Vec::new() },
            waited: run.waited(),
            waited_cooling: Minutes::of(run.drive.waited_cooling_s / 60.0),
            fell_k_h: (run.drive.fell.1 > 0.0)
                .then(|| run.drive.fell.0 / run.drive.fell.1 * 3600.0),
        }
    }
}
