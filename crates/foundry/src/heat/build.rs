//! A programme from what is to be fired.

use super::body::{FlaskBody, Grid};
use super::burnout::simulate;
use super::check::check;
use super::finding::{Concern, Finding, Severity};
use super::limits::Limits;
use super::power::Kiln;
use super::programme::{KelvinsPerHour, Pace, Programme, Segment};
use super::refusal::{HeatRefusal, within};
use super::verdict::judge;
use crate::quantity::{Celsius, Millimetres, Minutes};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

/// What a programme is to be built for.
#[derive(Debug, Clone, Copy)]
pub struct BuildTargets<'a> {
    /// The largest flask of the load; it decides the holds.
    pub body: &'a FlaskBody,
    /// Limits of investment and pattern.
    pub limits: &'a Limits,
    /// The flask's temperature when cast, after the alloy and its sections.
    pub casting: Celsius,
    /// The kiln; an ideal one sets no limit.
    pub kiln: &'a Kiln,
    /// The ramp upwards, where nothing asks for a slower one.
    pub heating: KelvinsPerHour,
    /// The ramp down to the casting temperature, where the kiln does not cool more slowly.
    pub cooling: KelvinsPerHour,
}

/// The holds of a published table for gypsum-bonded flasks: temperature in °C and hours, below the
/// top, at the top, at the casting temperature. Source: a supplier's published table for flasks of
/// 2.5 × 2.5, 3.5 × 4 and 4 × 8 in.
struct Holds {
    below: &'static [(f64, f64)],
    top_h: f64,
    casting_h: f64,
}

fn published(diameter: Millimetres) -> Holds {
    match diameter.inches() {
        d if d <= 3.0 => Holds { below: &[(149.0, 2.0), (371.0, 1.0)], top_h: 2.0, casting_h: 1.0 },
        d if d <= 3.75 => {
            Holds { below: &[(149.0, 2.0), (371.0, 2.0)], top_h: 3.0, casting_h: 1.0 }
        }
        _ => {
            Holds { below: &[(149.0, 2.0), (315.0, 2.0), (482.0, 2.0)], top_h: 4.0, casting_h: 2.0 }
        }
    }
}

/// The top of a built programme for gypsum, °C: 1350 °F.
const GYPSUM_TOP_C: f64 = 732.0;
/// A built ramp stays this far below what kiln and limits allow.
const ROOM_BELOW: f64 = 0.95;
/// Holds are lengthened by at least this much at a time, min.
const LENGTHEN_MIN: f64 = 10.0;
/// How often a programme is lengthened before it is given up.
const MOST_ROUNDS: usize = 60;

impl Programme {
    /// Builds a programme: the published holds for the flask's size, ramps that mould and kiln can
    /// follow, then every hold lengthened until the computed core is dry, burnt out and at its
    /// casting temperature.
    ///
    /// # Refuses
    /// A casting temperature outside 20 °C to the binder's ceiling, a kiln that cannot reach the
    /// top, and limits that no programme of a week meets.
    pub fn build(targets: &BuildTargets<'_>) -> Result<Worked<Self>, HeatRefusal> {
        let limits = targets.limits;
        let ceiling = limits.ceiling.get();
        within("the casting temperature", targets.casting.get(), 20.0, ceiling, "°C")?;
        let top_c = GYPSUM_TOP_C.max(limits.burn_off.get() + 30.0).min(limits.usual_top.get());
        let top_c = top_c.max(targets.casting.get());
        let holds = published(targets.body.inside_diameter);
        let mut plan = Plan {
            start: targets.body.start,
            top_c,
            casting_c: targets.casting.get(),
            below: holds.below.iter().map(|(t, hours)| (*t, hours * 60.0)).collect(),
            top_min: holds.top_h * 60.0,
            casting_min: (holds.casting_h * 60.0).max(limits.casting_hold_least.get()),
            heating_k_h: heating_k_h(targets, top_c)?,
            cooling_k_h: cooling_k_h(targets),
        };
        for _ in 0..MOST_ROUNDS {
            let programme = plan.programme()?;
            let on_paper = check(&programme, limits, targets.body, targets.kiln);
            let run = simulate(targets.body, &programme, targets.kiln, &Grid::default())?;
            let verdict = judge(&run, targets.casting, limits);
            let wrong = |finding: &&Finding| finding.severity > Severity::Note;
            let Some(worst) = on_paper.iter().chain(&verdict.findings).find(wrong) else {
                return Ok(Worked { value: programme, working: plan.working(targets) });
            };
            if !plan.lengthen(&worst.concern) {
                return Err(HeatRefusal::NoProgramme { last: worst.concern.to_string() });
            }
        }
        Err(HeatRefusal::NoProgramme { last: "every hold was lengthened in vain".to_owned() })
    }
}

/// The steepest ramp that zones and kiln allow all the way to the top.
fn heating_k_h(targets: &BuildTargets<'_>, top_c: f64) -> Result<f64, HeatRefusal> {
    let mut rate = targets.heating.get();
    for zone in &targets.limits.zones {
        rate = rate.min(zone.most.get());
    }
    if let Kiln::Powered { kiln, flasks } = targets.kiln {
        kiln.check()?;
        let load_j_k = f64::from(*flasks) * targets.body.fired_capacity_j_k();
        let spare = kiln.steepest_k_h(Celsius::new(top_c)?, load_j_k);
        if spare <= 1.0 {
            return Err(HeatRefusal::KilnCannotReach { reached: kiln.hottest_c(), wanted: top_c });
        }
        rate = rate.min(spare * ROOM_BELOW);
    }
    within("the ramp upwards", rate, 1.0, 2000.0, "K/h")
}

/// As fast down as asked for and as the closed kiln falls at the casting temperature.
fn cooling_k_h(targets: &BuildTargets<'_>) -> f64 {
    let asked = targets.limits.zones.iter().fold(targets.cooling.get(), |rate, zone| {
        if zone.from > targets.limits.drying.1 { rate.min(zone.most.get()) } else { rate }
    });
    match targets.kiln {
        Kiln::Ideal => asked,
        Kiln::Powered { kiln, flasks } => {
            let load_j_k = f64::from(*flasks) * targets.body.fired_capacity_j_k();
            asked.min(kiln.cooling_k_h(targets.casting, load_j_k) * ROOM_BELOW)
        }
    }
    .max(1.0)
}

struct Plan {
    start: Celsius,
    top_c: f64,
    casting_c: f64,
    below: Vec<(f64, f64)>,
    top_min: f64,
    casting_min: f64,
    heating_k_h: f64,
    cooling_k_h: f64,
}

impl Plan {
    fn programme(&self) -> Result<Programme, HeatRefusal> {
        let up = Pace::Rate(KelvinsPerHour::new(self.heating_k_h)?);
        let down = Pace::Rate(KelvinsPerHour::new(self.cooling_k_h)?);
        let hold = |minutes: f64| Minutes::new(minutes).map(|minutes| Segment::Hold { minutes });
        let mut segments = Vec::new();
        for (t, minutes) in &self.below {
            if *t > self.start.get() + 1.0 && *t < self.top_c - 1.0 {
                segments.push(Segment::Ramp { to: Celsius::new(*t)?, pace: up });
                segments.push(hold(*minutes)?);
            }
        }
        segments.push(Segment::Ramp { to: Celsius::new(self.top_c)?, pace: up });
        segments.push(hold(self.top_min)?);
        if self.top_c - self.casting_c > 1.0 {
            segments.push(Segment::Ramp { to: Celsius::new(self.casting_c)?, pace: down });
            segments.push(hold(self.casting_min)?);
        }
        Programme::new(self.start, segments)
    }

    /// Lengthens the hold that answers a concern; false when no hold does.
    fn lengthen(&mut self, concern: &Concern) -> bool {
        match *concern {
            Concern::CoreWet { .. }
            | Concern::HotWallWetCore { .. }
            | Concern::DryingTooShort { .. } => match self.below.first_mut() {
                Some(first) => first.1 += 3.0 * LENGTHEN_MIN,
                None => return false,
            },
            Concern::BurnOffShort { given, least, .. } => {
                let missing = (least - given).get();
                self.top_min += (missing / LENGTHEN_MIN).ceil() * LENGTHEN_MIN;
            }
            Concern::NeverBurnsOff { .. } | Concern::TopHoldShort { .. } => {
                self.top_min += 3.0 * LENGTHEN_MIN;
            }
            Concern::UnevenAtPour { .. }
            | Concern::CoreOffCasting { .. }
            | Concern::CastingHoldShort { .. } => self.casting_min += LENGTHEN_MIN,
            _ => return false,
        }
        true
    }

    fn working(&self, targets: &BuildTargets<'_>) -> Working {
        let mut working = Working::default();
        let table = || {
            Source::Published(
                "a supplier's published table of burnout holds for flasks of 2.5, 3.5 and 4 in"
                    .into(),
            )
        };
        let diameter = targets.body.inside_diameter.get();
        for (t, minutes) in &self.below {
            working.step(
                "hold below the top by the flask's diameter, lengthened until the core dries in time",
                vec![
                    Figure::real("inside diameter", diameter, "mm", Source::Entered),
                    Figure::real("temperature", *t, "°C", table()),
                ],
                Figure::real("hold", *minutes, "min", table()),
            );
        }
        working.step(
            "ramp = the least of asked for, limits of the mould, and 95 % of what the kiln manages \
             at the top",
            vec![Figure::real("asked for", targets.heating.get(), "K/h", Source::Entered)],
            Figure::real("ramp", self.heating_k_h, "K/h", Source::Computed),
        );
        working.step(
            "hold at the top by the flask's diameter, lengthened until the core has burnt out",
            vec![
                Figure::real("top", self.top_c, "°C", Source::CommonPractice),
                Figure::real(
                    "least time of the core at burn-off",
                    targets.limits.burn_off_least.get(),
                    "min",
                    Source::CommonPractice,
                ),
            ],
            Figure::real("hold at the top", self.top_min, "min", Source::Computed),
        );
        working.step(
            "hold at the casting temperature, lengthened until core and wall agree",
            vec![Figure::real("casting temperature", self.casting_c, "°C", Source::Entered)],
            Figure::real("hold to cast", self.casting_min, "min", Source::Computed),
        );
        working.warn(
            "The makers' data sheets of investment and pattern material go before this programme.",
        );
        working
    }
}
