//! Why a calculation of heat was refused.

use crate::quantity::QuantityRefusal;

/// Why a programme, a flask, a kiln or a curve was not accepted, or no result was given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum HeatRefusal {
    /// A number was not usable as the quantity it stands for.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A programme without a segment.
    #[error("the programme has no segments; add at least one ramp")]
    NoSegments,
    /// More segments than a programme may have.
    #[error("the programme has {given} segments; {most} are the most that are taken")]
    TooManySegments {
        /// How many were given.
        given: usize,
        /// How many are taken.
        most: usize,
    },
    /// A segment whose time does not run forward.
    #[error("segment {segment} takes {minutes} minutes; time must run forward, give more than 0")]
    Backwards {
        /// The segment, counted from 1.
        segment: usize,
        /// The minutes it would take.
        minutes: f64,
    },
    /// A ramp that never arrives, because its rate is zero.
    #[error("segment {segment} ramps at 0 degrees an hour and never arrives; give a rate above 0")]
    ZeroRate {
        /// The segment, counted from 1.
        segment: usize,
    },
    /// A ramp to the temperature the kiln already has.
    #[error(
        "segment {segment} ramps to {at:.1} °C, where the kiln already is; make it a hold or remove it"
    )]
    RampGoesNowhere {
        /// The segment, counted from 1.
        segment: usize,
        /// The temperature, in °C.
        at: f64,
    },
    /// A temperature no burnout kiln is run at.
    #[error(
        "segment {segment} asks for {given:.1} °C; give a temperature from {least:.0} to {greatest:.0} °C"
    )]
    TemperatureOutOfRange {
        /// The segment, counted from 1; 0 is the start of the programme.
        segment: usize,
        /// What was asked for, in °C.
        given: f64,
        /// The lowest accepted, in °C.
        least: f64,
        /// The highest accepted, in °C.
        greatest: f64,
    },
    /// A programme longer than any that is run.
    #[error("the programme takes {hours:.1} hours; {most:.0} are the most that are taken")]
    TooLong {
        /// Its length.
        hours: f64,
        /// The longest taken.
        most: f64,
    },
    /// A value of a flask, kiln, investment or grid outside its range.
    #[error("{what} must be from {least} to {greatest} {unit}; {given} was given")]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// The least accepted.
        least: f64,
        /// The greatest accepted.
        greatest: f64,
        /// What was given.
        given: f64,
        /// The unit of the numbers.
        unit: &'static str,
    },
    /// A table whose points do not rise.
    #[error("the table of {what} must have at least one point, in rising order of temperature")]
    BadTable {
        /// The property.
        what: &'static str,
    },
    /// The nonlinear equations of a time step were not solved.
    #[error(
        "the heat flow could not be solved at minute {minute:.1}; no result is given. Use a finer \
         time step, or check the investment's heats"
    )]
    DidNotConverge {
        /// When it happened, in minutes from the start.
        minute: f64,
    },
    /// No programme meets the limits.
    #[error(
        "no programme was found that meets the limits: {last}. Raise a limit, lower the casting \
         temperature or use a smaller flask"
    )]
    NoProgramme {
        /// What stood in the way at last.
        last: String,
    },
    /// The fit of a kiln did not settle.
    #[error(
        "power and loss could not be fitted to this firing; start from values nearer to the \
         kiln's rating, or use a firing with a full-power ramp and a free fall"
    )]
    FitDidNotSettle,
    /// A firing that is the same whatever the kiln's power or loss.
    #[error(
        "this firing says nothing of the kiln's {what}: use one in which a ramp was too steep for \
         the kiln, or in which it cooled freely"
    )]
    FiringSaysNothing {
        /// Power or loss.
        what: &'static str,
    },
    /// An ideal kiln draws no electricity.
    #[error("an ideal kiln draws no electricity; give the kiln's power and loss to cost a firing")]
    NoElectricity,
    /// The bands of a tariff leave a part of the week without a price.
    #[error(
        "the tariff has no price from minute {minute} of the week on; its bands must follow \
             one another from 0 to 10080"
    )]
    TariffGap {
        /// Where the gap begins.
        minute: u32,
    },
    /// Two bands of a tariff overlap, or one ends before it begins.
    #[error("the tariff's band from minute {minute} of the week overlaps another or is empty")]
    TariffOverlap {
        /// Where the second band begins.
        minute: u32,
    },
    /// An amount of money could not be made.
    #[error(transparent)]
    Money(#[from] crate::quantity::MoneyRefusal),
    /// The kiln stays below its programme for longer than a day.
    #[error(
        "the kiln stands at {reached:.0} °C and cannot reach {wanted:.0} °C with this load; lower \
         the target, load fewer flasks or use a stronger kiln"
    )]
    KilnCannotReach {
        /// Where it stopped, in °C.
        reached: f64,
        /// What the programme asks for, in °C.
        wanted: f64,
    },
}

/// Checks a raw number of a flask, kiln, investment or grid against its range.
pub(crate) fn within(
    what: &'static str,
    given: f64,
    least: f64,
    greatest: f64,
    unit: &'static str,
) -> Result<f64, HeatRefusal> {
    // Written so that NaN is refused too.
    if given >= least && given <= greatest {
        Ok(given)
    } else {
        Err(HeatRefusal::OutOfRange { what, least, greatest, given, unit })
    }
}
