//! Whether a flask that went through a burnout may be poured.

use super::burnout::Burnout;
use super::finding::{Concern, Finding, Severity};
use super::limits::{BURN_OFF_WHY, Limits};
use crate::quantity::{Celsius, Kelvins, Minutes};
use crate::source::Source;
use crate::working::{Figure, Working};

/// A temperature with a name, and when wall and core pass it.
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// What happens there.
    pub name: &'static str,
    /// The temperature.
    pub temperature: Celsius,
    /// When the wall first passes it upwards.
    pub wall: Option<Minutes>,
    /// When the core first passes it upwards.
    pub core: Option<Minutes>,
}

/// What is to be said of a burnout.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Whether nothing worse than a note was found.
    pub ready: bool,
    /// The named temperatures in rising order.
    pub passages: Vec<Passage>,
    /// How long the core is above burn-off.
    pub core_above_burn_off: Minutes,
    /// How far the core hangs behind the wall at most, on the way up.
    pub greatest_lag: Kelvins,
    /// Core less wall at the pour.
    pub difference_at_pour: Kelvins,
    /// The core at the pour.
    pub core_at_pour: Celsius,
    /// The wall when the core is dry.
    pub wall_when_dry: Option<Celsius>,
    /// What was found, the worst first.
    pub findings: Vec<Finding>,
    /// How the verdict was reached.
    pub working: Working,
}

/// Above this the free water is gone, °C.
const DRY_C: f64 = 101.0;
/// A wall hotter than this beside a wet core is worth a note, °C: the usual second hold.
const HOT_WALL_C: f64 = 371.2;

/// Judges a computed burnout.
///
/// # Assumes
/// The limits; see [`Limits::usual`] for their sources. The computation knows nothing of the
/// air in the kiln: ash also stays where there is too little of it.
#[must_use]
pub fn judge(burnout: &Burnout, casting: Celsius, limits: &Limits) -> Verdict {
    let passages = passages(burnout, limits);
    let core_above_burn_off = burnout.core_above(limits.burn_off);
    let difference_at_pour = burnout.difference_at_pour();
    let core_at_pour = burnout.samples.last().map_or(Celsius::ZERO, |sample| sample.core);
    let dry_at = burnout.core_passes(Celsius::of(DRY_C));
    let wall_when_dry = dry_at.and_then(|minute| burnout.at(minute)).map(|sample| sample.wall);
    let greatest_lag = burnout
        .samples
        .iter()
        .fold(Kelvins::ZERO, |lag, sample| lag.max(sample.wall - sample.core));

    let mut findings = Vec::new();
    let mut add = |severity, minute, concern| findings.push(Finding { severity, minute, concern });
    let hottest_core = burnout.hottest_core();
    if dry_at.is_none() {
        add(Severity::Danger, Some(burnout.total), Concern::CoreWet { core: hottest_core });
    }
    if let Some(wall) = wall_when_dry.filter(|wall| wall.get() > HOT_WALL_C) {
        let too_hot = wall > limits.wet_wall_most;
        let severity = if too_hot { Severity::Caution } else { Severity::Note };
        add(severity, dry_at, Concern::HotWallWetCore { wall });
    }
    if hottest_core < limits.burn_off {
        let burn_off = limits.burn_off;
        add(Severity::Caution, None, Concern::NeverBurnsOff { reached: hottest_core, burn_off });
    } else if core_above_burn_off < limits.burn_off_least {
        add(
            Severity::Caution,
            None,
            Concern::BurnOffShort {
                given: core_above_burn_off,
                least: limits.burn_off_least,
                burn_off: limits.burn_off,
            },
        );
    }
    let hottest_wall = burnout.hottest_wall();
    if hottest_wall > limits.ceiling {
        add(
            Severity::Danger,
            burnout.wall_passes(limits.ceiling),
            Concern::AboveCeiling { reached: hottest_wall, ceiling: limits.ceiling },
        );
    }
    if difference_at_pour.get().abs() > limits.pour_difference_most.get() {
        add(
            Severity::Caution,
            Some(burnout.total),
            Concern::UnevenAtPour {
                difference: difference_at_pour,
                most: limits.pour_difference_most,
            },
        );
    }
    if (core_at_pour - casting).get().abs() > limits.pour_error_most.get() {
        add(
            Severity::Caution,
            Some(burnout.total),
            Concern::CoreOffCasting { core: core_at_pour, wanted: casting },
        );
    }
    let heating = burnout.waited - burnout.waited_cooling;
    if heating > Minutes::of(1.0) {
        add(Severity::Note, None, Concern::WaitedToHeat { minutes: heating });
    }
    if let Some(fell_k_h) = burnout.fell_k_h.filter(|_| burnout.waited_cooling > Minutes::of(1.0)) {
        let minutes = burnout.waited_cooling;
        add(Severity::Note, None, Concern::WaitedToCool { minutes, fell_k_h });
    }
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Verdict {
        ready: findings.iter().all(|finding| finding.severity == Severity::Note),
        passages,
        core_above_burn_off,
        greatest_lag,
        difference_at_pour,
        core_at_pour,
        wall_when_dry,
        findings,
        working: working(limits, casting, core_above_burn_off, difference_at_pour, core_at_pour),
    }
}

fn passages(burnout: &Burnout, limits: &Limits) -> Vec<Passage> {
    let mut named = vec![("free water gone", Celsius::of(DRY_C))];
    if limits.binder == super::Binder::Gypsum {
        named.push(("gypsum dry", Celsius::of(170.0)));
    }
    named.push(("cristobalite turns", Celsius::of(220.0)));
    named.push(("quartz turns", Celsius::of(573.0)));
    named.push(("pattern burns off", limits.burn_off));
    named
        .into_iter()
        .map(|(name, temperature)| Passage {
            name,
            temperature,
            wall: burnout.wall_passes(temperature),
            core: burnout.core_passes(temperature),
        })
        .collect()
}

fn working(
    limits: &Limits,
    casting: Celsius,
    above: Minutes,
    difference: Kelvins,
    core: Celsius,
) -> Working {
    let mut working = Working::default();
    working.step(
        "time of the core above burn-off, against the least",
        vec![
            Figure::real("burn-off", limits.burn_off.get(), "°C", Source::CommonPractice),
            Figure::real(
                "least time",
                limits.burn_off_least.get(),
                "min",
                Source::Assumed(BURN_OFF_WHY.into()),
            ),
        ],
        Figure::real("time of the core above burn-off", above.get(), "min", Source::Computed),
    );
    working.step(
        "core − wall at the pour, against the most either way",
        vec![Figure::real(
            "most",
            limits.pour_difference_most.get(),
            "K",
            Source::Assumed(
                "a fraction of the 50 K by which casting ranges are usually wide".into(),
            ),
        )],
        Figure::real("core − wall at the pour", difference.get(), "K", Source::Computed),
    );
    working.step(
        "core at the pour, against the casting temperature",
        vec![Figure::real("casting temperature", casting.get(), "°C", Source::Entered)],
        Figure::real("core at the pour", core.get(), "°C", Source::Computed),
    );
    working.warn(
        "Computed, not measured. Go by the makers' data sheets of investment and pattern material; \
         never pour into a flask that may be damp.",
    );
    working
}
