//! The shortest programme that does the same.

use super::body::Grid;
use super::build::BuildTargets;
use super::burnout::{Burnout, simulate};
use super::check::check;
use super::finding::{Finding, Severity};
use super::limits::Limits;
use super::programme::{Pace, Programme, Segment};
use super::refusal::{HeatRefusal, within};
use super::verdict::{Verdict, judge};
use crate::quantity::{Celsius, Kelvins, Minutes};

/// A programme beside the shortest safe one.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortest {
    /// The shortest programme found.
    pub programme: Programme,
    /// Its burnout.
    pub burnout: Burnout,
    /// What is to be said of it.
    pub verdict: Verdict,
    /// The burnout of the programme it is compared with.
    pub current: Burnout,
    /// What is to be said of that.
    pub current_verdict: Verdict,
    /// Minutes saved; negative when the current programme is too short to be safe.
    pub saved: Minutes,
    /// How many programmes were computed.
    pub tried: usize,
}

/// Searches on a coarse grid; the result is checked on the default one.
const COARSE: Grid =
    Grid { radial: 8, axial: 12, step: Minutes::of(5.0), sample: Minutes::of(5.0) };
/// Steps by which legs are shortened, in falling order, min.
const STEPS_MIN: [f64; 4] = [60.0, 20.0, 10.0, 5.0];
/// The most programmes computed in a search.
const MOST_TRIED: usize = 1500;
/// Holds shorter than this are left out, min.
const LEAST_HOLD_MIN: f64 = 1.0;
/// How much a programme is stretched when the fine grid disagrees.
const STRETCH: f64 = 1.02;

/// Finds the shortest programme through the same temperatures that is safe and no harsher.
///
/// Temperatures and the rate of cooling stay; holds and heating ramps are shortened as far as
/// `limits` allow with the margin on them, and as long as core and wall differ no more, and the
/// wall beside a wet core is no hotter, than in the current programme. A current programme that is
/// not safe itself is replaced by a built one first.
///
/// # Assumes
/// A search by steps of 5 min; there may be a slightly shorter programme.
///
/// # Refuses
/// A margin outside 0 to 0.5, and flasks for which no safe programme is found.
pub fn shortest_safe(
    current: &Programme,
    targets: &BuildTargets<'_>,
    margin: f64,
) -> Result<Shortest, HeatRefusal> {
    let margin = within("the margin", margin, 0.0, 0.5, "")?;
    let fine = Grid::default();
    let current_run = simulate(targets.body, current, targets.kiln, &fine)?;
    let current_verdict = judge(&current_run, targets.casting, targets.limits);
    let bounds = bounds(targets.limits, &current_verdict, margin);

    let mut search = Search { targets, bounds, tried: 0 };
    let mut legs = Legs::of(current, targets.limits);
    if !search.safe(&legs, &fine)? {
        let built = Programme::build(&BuildTargets { limits: &search.bounds.limits, ..*targets })?;
        legs = Legs::of(&built.value, targets.limits);
        search.bounds.no_harsher = None;
    }
    search.shorten(&mut legs)?;
    for _ in 0..40 {
        if search.safe(&legs, &fine)? {
            let programme = legs.programme()?;
            let burnout = simulate(targets.body, &programme, targets.kiln, &fine)?;
            let verdict = judge(&burnout, targets.casting, targets.limits);
            let saved = current_run.total - burnout.total;
            return Ok(Shortest {
                programme,
                burnout,
                verdict,
                current: current_run,
                current_verdict,
                saved,
                tried: search.tried,
            });
        }
        legs.stretch();
    }
    Err(HeatRefusal::NoProgramme { last: "the fine computation never agreed".to_owned() })
}

/// The limits with the margin on them, and what the current programme already puts up with.
struct Bounds {
    limits: Limits,
    no_harsher: Option<(Kelvins, Option<Celsius>)>,
}

fn bounds(limits: &Limits, current: &Verdict, margin: f64) -> Bounds {
    let mut limits = limits.clone();
    limits.burn_off_least = limits.burn_off_least * (1.0 + margin);
    limits.drying_least = limits.drying_least * (1.0 + margin);
    limits.pour_difference_most = limits.pour_difference_most * (1.0 - margin);
    limits.pour_error_most = limits.pour_error_most * (1.0 - margin);
    Bounds { limits, no_harsher: Some((current.greatest_lag, current.wall_when_dry)) }
}

/// One piece of the programme's line that may be shortened.
#[derive(Debug, Clone, Copy)]
struct Leg {
    to: Celsius,
    minutes: f64,
    least: f64,
    ramp: bool,
}

#[derive(Debug, Clone)]
struct Legs {
    start: Celsius,
    legs: Vec<Leg>,
}

impl Legs {
    fn of(programme: &Programme, limits: &Limits) -> Self {
        let overall = limits.zones.iter().fold(0.0_f64, |most, zone| most.max(zone.most.get()));
        let legs = programme
            .knots()
            .windows(2)
            .map(|pair| {
                let (from, to) = (pair[0].temperature, pair[1].temperature);
                let minutes = (pair[1].minute - pair[0].minute).get();
                let rise_k = (to - from).get();
                let least = if rise_k > 0.0 {
                    let steepest = limits
                        .zones
                        .iter()
                        .filter(|zone| from < zone.to && to > zone.from)
                        .fold(overall.max(1.0), |rate, zone| rate.min(zone.most.get()));
                    (rise_k / steepest * 60.0).min(minutes)
                } else if rise_k < 0.0 {
                    minutes
                } else {
                    0.0
                };
                Leg { to, minutes, least, ramp: rise_k != 0.0 }
            })
            .collect();
        Self { start: programme.start(), legs }
    }

    fn programme(&self) -> Result<Programme, HeatRefusal> {
        let segments = self
            .legs
            .iter()
            .filter(|leg| leg.ramp || leg.minutes >= LEAST_HOLD_MIN)
            .map(|leg| {
                let minutes = Minutes::new(leg.minutes)?;
                Ok(if leg.ramp {
                    Segment::Ramp { to: leg.to, pace: Pace::Within(minutes) }
                } else {
                    Segment::Hold { minutes }
                })
            })
            .collect::<Result<Vec<_>, HeatRefusal>>()?;
        Programme::new(self.start, segments)
    }

    fn stretch(&mut self) {
        for leg in &mut self.legs {
            leg.minutes *= STRETCH;
        }
    }
}

struct Search<'a> {
    targets: &'a BuildTargets<'a>,
    bounds: Bounds,
    tried: usize,
}

impl Search<'_> {
    fn safe(&mut self, legs: &Legs, grid: &Grid) -> Result<bool, HeatRefusal> {
        let BuildTargets { body, kiln, casting, .. } = *self.targets;
        let programme = legs.programme()?;
        let fine = |found: &[Finding]| found.iter().all(|f| f.severity == Severity::Note);
        if !fine(&check(&programme, &self.bounds.limits, body, kiln)) {
            return Ok(false);
        }
        self.tried += 1;
        let verdict = judge(&simulate(body, &programme, kiln, grid)?, casting, &self.bounds.limits);
        let no_harsher = self.bounds.no_harsher.is_none_or(|(lag, wet_wall)| {
            let as_dry = match (verdict.wall_when_dry, wet_wall) {
                (Some(now), Some(then)) => now <= then.max(Celsius::of(150.0)) + SLACK,
                (now, _) => now.is_some(),
            };
            as_dry && verdict.greatest_lag <= lag + SLACK
        });
        Ok(verdict.ready && no_harsher)
    }

    /// Shortens leg by leg, and lengthens one leg where that shortens another by more.
    fn shorten(&mut self, legs: &mut Legs) -> Result<(), HeatRefusal> {
        for step in STEPS_MIN {
            loop {
                let mut better = false;
                for index in 0..legs.legs.len() {
                    while self.attempt(legs, index, step, None)? {
                        better = true;
                    }
                }
                if !better {
                    better = self.exchange(legs, step)?;
                }
                if !better || self.tried > MOST_TRIED {
                    break;
                }
            }
        }
        Ok(())
    }

    fn exchange(&mut self, legs: &mut Legs, step: f64) -> Result<bool, HeatRefusal> {
        for shorter in 0..legs.legs.len() {
            for longer in 0..legs.legs.len() {
                if shorter != longer
                    && self.tried <= MOST_TRIED
                    && self.attempt(legs, shorter, 2.0 * step, Some((longer, step)))?
                {
                    return Ok(true);
                }
            }
        }
        Ok(false)
    }

    fn attempt(
        &mut self,
        legs: &mut Legs,
        shorter: usize,
        by: f64,
        longer: Option<(usize, f64)>,
    ) -> Result<bool, HeatRefusal> {
        let mut tried = legs.clone();
        let leg = &mut tried.legs[shorter];
        let minutes = (leg.minutes - by).max(leg.least);
        let saves = leg.minutes - minutes;
        leg.minutes = minutes;
        if let Some((longer, by)) = longer {
            tried.legs[longer].minutes += by;
        }
        if saves - longer.map_or(0.0, |(_, by)| by) < 0.5 || !self.safe(&tried, &COARSE)? {
            return Ok(false);
        }
        *legs = tried;
        Ok(true)
    }
}

/// A coarse and a fine computation differ by less, K.
const SLACK: Kelvins = Kelvins::of(5.0);
