//! A flask out of the kiln: how long until it is too cold to cast.

use super::body::{FlaskBody, Grid};
use super::burnout::Run;
use super::conduction::{KilnHeat, Probe, Solver};
use super::power::Kiln;
use super::programme::Programme;
use super::refusal::{HeatRefusal, within};
use crate::quantity::{Celsius, Minutes, Seconds};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

/// How the flask comes out of the kiln.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OutOfKiln<'a> {
    /// At one temperature all through, after a long hold.
    Even(Celsius),
    /// As a programme leaves it.
    After(&'a Programme, &'a Kiln),
}

/// The temperatures at one moment on the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoolingSample {
    /// Since the flask left the kiln.
    pub time: Seconds,
    /// The steel wall, or the outermost investment of a bare block.
    pub wall: Celsius,
    /// Three quarters of the way from axis to wall, where a tree's outer pieces are.
    pub outer: Celsius,
    /// Half way.
    pub mid: Celsius,
    /// The axis.
    pub core: Celsius,
    /// Mean of the investment.
    pub mean: Celsius,
}

/// A flask cooling on the bench, at mid height unless it stands on an insulating base.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// The curves, from the moment the flask leaves the kiln.
    pub samples: Vec<CoolingSample>,
    step: Seconds,
}

impl Cooling {
    /// When the outer pieces fall below a temperature; `None` when they do not within the curves.
    #[must_use]
    pub fn outer_below(&self, temperature: Celsius) -> Option<Minutes> {
        self.below(temperature, |sample| sample.outer)
    }

    /// When the core falls below a temperature; `None` when it does not within the curves.
    #[must_use]
    pub fn core_below(&self, temperature: Celsius) -> Option<Minutes> {
        self.below(temperature, |sample| sample.core)
    }

    /// The time left to pour before the outer pieces are below the lowest casting temperature of
    /// the flask; `None` when they stay above it within the curves.
    #[must_use]
    pub fn pour_within(&self, lowest: Celsius) -> Worked<Option<Minutes>> {
        let value = self.outer_below(lowest);
        let mut working = Working::default();
        if let Some(minutes) = value {
            working.step(
                "first moment at which three quarters of the radius is below the lowest casting \
                 temperature",
                vec![
                    Figure::real("lowest casting temperature", lowest.get(), "°C", Source::Entered),
                    Figure::real("longest step", self.step.get(), "s", Source::Computed),
                ],
                Figure::real("time to pour", minutes.get(), "min", Source::Computed),
            );
        }
        working.warn(
            "Computed for still air; no published cooling curve of a flask was found to hold it \
             against. A draught, or tongs and a cold cradle, shorten it.",
        );
        Worked { value, working }
    }

    fn below(
        &self,
        temperature: Celsius,
        of: impl Fn(&CoolingSample) -> Celsius,
    ) -> Option<Minutes> {
        let first = self.samples.first()?;
        if of(first) < temperature {
            return Some(Minutes::ZERO);
        }
        self.samples.windows(2).find(|pair| of(&pair[1]) < temperature).map(|pair| {
            let (a, b) = (of(&pair[0]), of(&pair[1]));
            let part = (temperature - a) / (b - a);
            (pair[0].time + (pair[1].time - pair[0].time) * part).minutes()
        })
    }
}

/// The first step out of the kiln, s: the surface changes at once.
const FIRST_STEP_S: f64 = 0.5;
/// The longest step, s.
const LONGEST_STEP_S: f64 = 15.0;
/// How much longer each following step may be.
const GROWTH: f64 = 1.25;

/// Lets a flask cool in still air.
///
/// # Assumes
/// The flask's surface and base as given in the body, with the air in the kiln's place.
///
/// # Refuses
/// Values outside their ranges, more than a day, and steps that could not be solved.
pub fn cool(
    body: &FlaskBody,
    from: OutOfKiln<'_>,
    air: Celsius,
    time: Minutes,
    grid: &Grid,
) -> Result<Cooling, HeatRefusal> {
    let air_c = within("the air", air.get(), -30.0, 60.0, "°C")?;
    let end_s = within("the time on the bench", time.get(), 0.1, 1440.0, "min")? * 60.0;
    let mut solver = match from {
        OutOfKiln::Even(temperature) => {
            Solver::new(&FlaskBody { start: temperature, ..body.clone() }, grid)?
        }
        OutOfKiln::After(programme, kiln) => {
            let mut run = Run::new(body, programme, kiln, grid)?;
            while run.advance(None)?.is_some() {}
            run.solver
        }
    };
    solver.restart();
    let points = Points::new(&solver);
    let mut samples = vec![points.read(&solver, 0.0)];
    let (mut now_s, mut next_s) = (0.0, FIRST_STEP_S);
    let heat = KilnHeat { now_c: air_c, end_c: air_c };
    while now_s < end_s - 1.0e-6 {
        let dt_s = f64::min(next_s, end_s - now_s);
        solver
            .step(dt_s, heat)
            .map_err(|_| HeatRefusal::DidNotConverge { minute: now_s / 60.0 })?;
        now_s += dt_s;
        next_s = (next_s * GROWTH).min(LONGEST_STEP_S);
        samples.push(points.read(&solver, now_s));
    }
    Ok(Cooling { samples, step: Seconds::of(LONGEST_STEP_S) })
}

struct Points {
    wall: Probe,
    outer: Probe,
    mid: Probe,
    core: Probe,
}

impl Points {
    fn new(solver: &Solver) -> Self {
        let radius_m = solver.inside_m();
        Self {
            wall: solver.wall_probe(),
            outer: solver.probe(0.75 * radius_m, None),
            mid: solver.probe(0.5 * radius_m, None),
            core: solver.probe(0.0, None),
        }
    }

    fn read(&self, solver: &Solver, now_s: f64) -> CoolingSample {
        let field = solver.field();
        CoolingSample {
            time: Seconds::of(now_s),
            wall: Celsius::of(self.wall.read(field)),
            outer: Celsius::of(self.outer.read(field)),
            mid: Celsius::of(self.mid.read(field)),
            core: Celsius::of(self.core.read(field)),
            mean: Celsius::of(solver.mean_c()),
        }
    }
}
