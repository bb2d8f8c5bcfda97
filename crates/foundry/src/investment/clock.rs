//! The mixing clock: from powder in water to gloss-off.

use std::borrow::Cow;

use crate::quantity::{Celsius, Grams, Minutes};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

use super::{InvestmentRefusal, SILICA_CAUTION};

/// How long a slurry stays workable, and how that moves with its temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkingTime {
    /// Minutes from powder touching water to gloss-off at the reference temperature.
    pub to_gloss_off: Sourced<Minutes>,
    /// The slurry temperature at which it was measured.
    pub reference: Celsius,
    /// Minutes lost for each kelvin the slurry is warmer.
    pub lost_per_kelvin: Sourced<f64>,
}

impl WorkingTime {
    /// What to start from until gloss-off has been measured.
    ///
    /// # Source
    /// About 9.5 minutes in all: “Investment Procedure for Lost Wax Casting”, Ganoksin library
    /// (whole procedure 9 to 9.5 minutes from first contact). The shift with temperature is
    /// from memory: measure gloss-off at two temperatures and use [`WorkingTime::from_trials`].
    #[must_use]
    pub fn usual() -> Self {
        Self {
            to_gloss_off: Sourced {
                value: Minutes::of(9.5),
                source: Source::Published(Cow::Borrowed(
                    "“Investment Procedure for Lost Wax Casting”, Ganoksin library: 9 to 9.5 min from first contact",
                )),
            },
            reference: Celsius::of(22.0),
            lost_per_kelvin: Sourced { value: 0.25, source: Source::FromMemory },
        }
    }

    /// From two trials at different slurry temperatures; gloss-off in minutes from first contact.
    ///
    /// `None` when the temperatures lie less than one kelvin apart.
    #[must_use]
    pub fn from_trials(first: (Celsius, Minutes), second: (Celsius, Minutes)) -> Option<Self> {
        let apart = (second.0 - first.0).get();
        if apart.abs() < 1.0 {
            return None;
        }
        Some(Self {
            to_gloss_off: Sourced { value: first.1, source: Source::MeasuredHere },
            reference: first.0,
            lost_per_kelvin: Sourced {
                value: (first.1 - second.1).get() / apart,
                source: Source::MeasuredHere,
            },
        })
    }
}

/// How long each step takes; the mixing takes what is left of the working time.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockTimes {
    /// Measuring the water into the bowl, before the clock starts.
    pub water_in: Minutes,
    /// Putting the powder into the water.
    pub powder_in: Minutes,
    /// Least mixing, with the powder going in, before the first vacuum.
    pub least_mixing: Minutes,
    /// Vacuum on the bowl.
    pub bowl_vacuum: Minutes,
    /// Pouring one flask.
    pub pour_each: Minutes,
    /// Vacuum on the flasks.
    pub flask_vacuum: Minutes,
    /// Topping up one flask.
    pub top_up_each: Minutes,
    /// All of it done this long before gloss-off.
    pub before_gloss_off: Minutes,
    /// Where these come from.
    pub source: Source,
}

impl ClockTimes {
    /// The usual times.
    ///
    /// # Source
    /// Vacuum on the bowl 1 to 2 min: “Investment Procedure for Lost Wax Casting”, Ganoksin
    /// library. Mix at least 3 min, be done 1.5 to 2 min before gloss-off: Orchid jewellers'
    /// forum, thread 21800. The others are common practice, no source.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            water_in: Minutes::of(0.5),
            powder_in: Minutes::of(0.5),
            least_mixing: Minutes::of(3.0),
            bowl_vacuum: Minutes::of(1.0),
            pour_each: Minutes::of(0.5),
            flask_vacuum: Minutes::of(1.25),
            top_up_each: Minutes::of(0.25),
            before_gloss_off: Minutes::of(1.75),
            source: Source::Published(Cow::Borrowed(
                "“Investment Procedure for Lost Wax Casting”, Ganoksin library, and Orchid jewellers' forum, thread 21800; pouring and topping up: common practice",
            )),
        }
    }
}

/// A step of the clock.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockStep {
    /// Its name.
    pub name: &'static str,
    /// When it starts, from powder touching water; negative for the water going in.
    pub start: Minutes,
    /// When it ends.
    pub end: Minutes,
}

/// The steps from water in the bowl to gloss-off.
#[derive(Debug, Clone, PartialEq)]
pub struct MixingClock {
    /// The steps, without gaps; the water goes in before the clock starts.
    pub steps: Vec<ClockStep>,
    /// When the surface loses its shine, from powder touching water.
    pub gloss_off: Minutes,
}

/// Heat a gram of powder takes for a kelvin, against that of water.
const POWDER_TO_WATER_HEAT: f64 = 0.84 / 4.18;

/// The temperature of a slurry from those of powder and water.
///
/// # Source
/// Mixing rule with specific heats 4.18 J/(g·K) for water and 0.84 for powder (from memory,
/// as for quartz and gypsum).
///
/// # Accuracy
/// A few kelvins: bowl, air and the heat of wetting are left out. A thermometer is better.
///
/// # Refuses
/// A slurry without mass.
pub fn slurry_temperature(
    powder: Grams,
    powder_temperature: Celsius,
    water: Grams,
    water_temperature: Celsius,
) -> Result<Worked<Celsius>, InvestmentRefusal> {
    let powder_weight = powder.get() * POWDER_TO_WATER_HEAT;
    let whole = powder_weight + water.get();
    if whole <= 0.0 {
        return Err(InvestmentRefusal::NoSlurry);
    }
    let temperature = Celsius::new(
        (powder_weight * powder_temperature.get() + water.get() * water_temperature.get()) / whole,
    )?;
    let mut working = Working::default();
    working.step(
        "(powder × 0.201 × its temperature + water × its temperature) ÷ (powder × 0.201 + water)",
        vec![
            Figure::real("powder", powder.get(), "g", Source::Entered),
            Figure::real("powder", powder_temperature.get(), "°C", Source::Entered),
            Figure::real("water", water.get(), "g", Source::Entered),
            Figure::real("water", water_temperature.get(), "°C", Source::Entered),
            Figure::real(
                "heat of powder to heat of water",
                POWDER_TO_WATER_HEAT,
                "",
                Source::FromMemory,
            ),
        ],
        Figure::real("slurry", temperature.get(), "°C", Source::Computed),
    );
    Ok(Worked { value: temperature, working })
}

/// Lays the steps of a mix out so that they end the wanted time before gloss-off.
///
/// # Refuses
/// A slurry so warm, or so many flasks, that the steps do not fit.
pub fn mixing_clock(
    working_time: &WorkingTime,
    slurry: Celsius,
    flasks: usize,
    times: &ClockTimes,
) -> Result<Worked<MixingClock>, InvestmentRefusal> {
    let warmer = (slurry - working_time.reference).get();
    let lost = warmer * working_time.lost_per_kelvin.value;
    let gloss_off = Minutes::new(working_time.to_gloss_off.value.get() - lost)?;
    for (step, takes) in [
        ("water in", times.water_in),
        ("powder in", times.powder_in),
        ("mixing", times.least_mixing),
        ("vacuum on the bowl", times.bowl_vacuum),
        ("pouring", times.pour_each),
        ("vacuum on the flasks", times.flask_vacuum),
        ("topping up", times.top_up_each),
        ("the margin before gloss-off", times.before_gloss_off),
    ] {
        if takes < Minutes::ZERO {
            return Err(InvestmentRefusal::NegativeTime { step, minutes: takes.get() });
        }
    }
    let flasks = flasks.max(1) as f64;
    let after_mixing = [
        ("vacuum on the bowl", times.bowl_vacuum),
        ("pour", times.pour_each * flasks),
        ("vacuum on the flasks", times.flask_vacuum),
        ("top up", times.top_up_each * flasks),
    ];
    let after_mixing_total: Minutes = after_mixing.iter().map(|step| step.1).sum();
    let workable = gloss_off - times.before_gloss_off;
    let mixing_until = workable - after_mixing_total;
    if mixing_until < times.least_mixing || times.least_mixing < times.powder_in {
        return Err(InvestmentRefusal::TooShortToPour {
            needed_min: (times.least_mixing.max(times.powder_in) + after_mixing_total).get(),
            workable_min: workable.get().max(0.0),
        });
    }
    let mut steps = Vec::new();
    let mut at = Minutes::ZERO - times.water_in;
    let until_mixed = [
        ("water into the bowl", times.water_in),
        ("powder into the water", times.powder_in),
        ("mix", mixing_until - times.powder_in),
    ];
    let standing = ("leave standing until gloss-off", times.before_gloss_off);
    for (name, takes) in until_mixed.into_iter().chain(after_mixing).chain([standing]) {
        steps.push(ClockStep { name, start: at, end: at + takes });
        at += takes;
    }
    let mut working = Working::default();
    working.step(
        "minutes to gloss-off − kelvins warmer than the reference × minutes lost for each",
        vec![
            Figure::real(
                "to gloss-off at the reference",
                working_time.to_gloss_off.value.get(),
                "min",
                working_time.to_gloss_off.source.clone(),
            ),
            Figure::real("reference", working_time.reference.get(), "°C", Source::Entered),
            Figure::real("slurry", slurry.get(), "°C", Source::Entered),
            Figure::real(
                "lost for each kelvin warmer",
                working_time.lost_per_kelvin.value,
                "min/K",
                working_time.lost_per_kelvin.source.clone(),
            ),
        ],
        Figure::real("gloss-off", gloss_off.get(), "min", Source::Computed),
    );
    working.step(
        "gloss-off − margin − vacuum, pouring, vacuum and topping up",
        vec![
            Figure::real("gloss-off", gloss_off.get(), "min", Source::Computed),
            Figure::real("margin", times.before_gloss_off.get(), "min", times.source.clone()),
            Figure::real(
                "steps after mixing",
                after_mixing_total.get(),
                "min",
                times.source.clone(),
            ),
        ],
        Figure::real("mix until", mixing_until.get(), "min", Source::Computed),
    );
    working.warn("Measure gloss-off of each new bag once. Too long under vacuum takes water away and shortens the time; movement after gloss-off cracks the mould.");
    working.warn(SILICA_CAUTION);
    Ok(Worked { value: MixingClock { steps, gloss_off }, working })
}
