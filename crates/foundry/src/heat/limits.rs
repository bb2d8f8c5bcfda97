//! What a mould and a pattern ask of a programme.

use super::programme::KelvinsPerHour;
use crate::quantity::{Celsius, Kelvins, Millimetres, Minutes};
use crate::source::Source;

/// The binder of the investment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Binder {
    /// Gypsum: bronze, silver, gold.
    #[default]
    Gypsum,
    /// Phosphate: platinum, palladium, steel.
    Phosphate,
}

/// What the pattern is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatternFamily {
    /// Wax, injected or carved: melts out before it burns.
    Wax,
    /// Printed castable resin: burns without melting, and swells before that.
    CastableResin,
}

/// A range of temperature the mould must not be rushed through.
#[derive(Debug, Clone, PartialEq)]
pub struct RampZone {
    /// What changes there.
    pub name: &'static str,
    /// Where it begins.
    pub from: Celsius,
    /// Where it ends.
    pub to: Celsius,
    /// The steepest ramp inside it.
    pub most: KelvinsPerHour,
    /// Where the limit comes from.
    pub source: Source,
}

/// The limits a programme is checked against. Every field can be set to the studio's own.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The binder.
    pub binder: Binder,
    /// The pattern.
    pub pattern: PatternFamily,
    /// Ranges with a limit on the ramp.
    pub zones: Vec<RampZone>,
    /// Between these the free water must be given time.
    pub drying: (Celsius, Celsius),
    /// The least time between them, holds and ramps together.
    pub drying_least: Minutes,
    /// The usual top of a programme.
    pub usual_top: Celsius,
    /// Where the binder begins to break down.
    pub ceiling: Celsius,
    /// Above this the pattern's carbon burns away.
    pub burn_off: Celsius,
    /// How long the core must be above it.
    pub burn_off_least: Minutes,
    /// The hottest the wall should be while the core still holds water.
    pub wet_wall_most: Celsius,
    /// The least hold at the casting temperature.
    pub casting_hold_least: Minutes,
    /// How far core and wall may be from each other at the pour.
    pub pour_difference_most: Kelvins,
    /// How far the core may be from the casting temperature at the pour.
    pub pour_error_most: Kelvins,
}

/// Why the limits on ramps are what they are.
const NO_PUBLISHED_RATE: &str =
    "no published rate for block moulds was found; usual programmes stay below this";

/// Why the time at burn-off is what it is.
pub(crate) const BURN_OFF_WHY: &str = "the usual small-flask cycle holds two hours at 732 °C, \
     which keeps its core above 700 °C for about two hours";

impl Limits {
    /// The usual limits for a binder and a pattern.
    ///
    /// # Source
    /// Cristobalite turns near 220 °C and quartz at 573 °C (Dodd and Murfin, Dictionary of
    /// Ceramics, 1994, as cited in an encyclopaedia). The usual top of a gypsum-bonded mould is
    /// 732 °C (1350 °F; common practice, no source). Without carbon the binder was found stable to
    /// about 900 °C; workshops report sulphur dioxide from 750 °C, with carbon left in the mould
    /// from 700 °C: the ceiling here is the workshops' 750 °C. Phosphate-bonded: 870 °C, from
    /// memory. No ramp rate for block moulds was found published; those here are assumed.
    #[must_use]
    pub fn usual(binder: Binder, pattern: PatternFamily) -> Self {
        let zone = |name, from, to, most| RampZone {
            name,
            from: Celsius::of(from),
            to: Celsius::of(to),
            most: KelvinsPerHour::of(most),
            source: Source::Assumed(NO_PUBLISHED_RATE.into()),
        };
        let (usual_top, ceiling) = match binder {
            Binder::Gypsum => (732.3, 750.0),
            Binder::Phosphate => (870.0, 1050.0),
        };
        let water = match binder {
            Binder::Gypsum => "free water and the gypsum's own",
            Binder::Phosphate => "free water",
        };
        Self {
            binder,
            pattern,
            zones: vec![
                zone(water, 95.0, 175.0, 200.0),
                zone("the cristobalite turn", 200.0, 275.0, 250.0),
                zone("the quartz turn", 550.0, 600.0, 250.0),
            ],
            drying: (Celsius::of(95.0), Celsius::of(180.0)),
            drying_least: Minutes::of(90.0),
            usual_top: Celsius::of(usual_top),
            ceiling: Celsius::of(ceiling),
            burn_off: Celsius::of(700.0),
            burn_off_least: match pattern {
                PatternFamily::Wax => Minutes::of(60.0),
                PatternFamily::CastableResin => Minutes::of(120.0),
            },
            // Published programmes for large flasks are at their hold at 482 °C by then.
            wet_wall_most: Celsius::of(500.0),
            casting_hold_least: Minutes::of(60.0),
            pour_difference_most: Kelvins::of(15.0),
            pour_error_most: Kelvins::of(15.0),
        }
    }
}

/// The hold at 732 °C that published cycles give a flask of this diameter.
///
/// # Source
/// A supplier's published table for flasks of 2.5, 3.5 and 4 in: 2, 3 and 4 h; straight between
/// them, in proportion beyond.
#[must_use]
pub fn published_top_hold(diameter: Millimetres) -> Minutes {
    let inches = diameter.inches();
    let hours = if inches <= 2.5 {
        2.0
    } else if inches <= 3.5 {
        2.0 + (inches - 2.5)
    } else if inches <= 4.0 {
        3.0 + (inches - 3.5) * 2.0
    } else {
        inches
    };
    Minutes::of(hours * 60.0)
}
