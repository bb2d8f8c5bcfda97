//! What is found when a programme, a firing or a measured curve is examined.

use std::fmt;

use crate::quantity::{Celsius, Kelvins, Minutes};

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Likely to spoil a casting.
    Caution,
    /// May hurt somebody, or certainly spoils the mould.
    Danger,
}

/// One thing found.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// Where in the programme, in minutes from its start, when it has a place.
    pub minute: Option<Minutes>,
    /// What it is.
    pub concern: Concern,
}

/// What was found. Its `Display` is the sentence to show.
#[derive(Debug, Clone, PartialEq)]
pub enum Concern {
    /// A ramp steeper than a range of temperature allows.
    TooSteep {
        /// The range.
        zone: &'static str,
        /// Where it begins and ends.
        range: (Celsius, Celsius),
        /// The ramp, K/h.
        ramp_k_h: f64,
        /// The steepest allowed, K/h.
        most_k_h: f64,
    },
    /// Too little time for the water.
    DryingTooShort {
        /// The range in which it dries.
        range: (Celsius, Celsius),
        /// The time given.
        given: Minutes,
        /// The time asked for.
        least: Minutes,
    },
    /// Hotter than the binder stands.
    AboveCeiling {
        /// The programme's or the wall's temperature.
        reached: Celsius,
        /// Where the binder begins to break down.
        ceiling: Celsius,
    },
    /// Hotter than usual, but below the ceiling.
    AboveUsualTop {
        /// The programme's top.
        reached: Celsius,
        /// The usual top.
        usual: Celsius,
    },
    /// The programme never reaches the burn-off temperature.
    NeverBurnsOff {
        /// The programme's or the core's hottest.
        reached: Celsius,
        /// Where carbon burns away.
        burn_off: Celsius,
    },
    /// A hold at the top shorter than published for the flask.
    TopHoldShort {
        /// The hold.
        given: Minutes,
        /// The published one.
        published: Minutes,
    },
    /// No hold, or a short one, at the casting temperature.
    CastingHoldShort {
        /// The hold.
        given: Minutes,
        /// The least.
        least: Minutes,
    },
    /// Above what the kiln may be run at.
    AboveKilnTop {
        /// The programme's top.
        asked: Celsius,
        /// The kiln's.
        top: Celsius,
    },
    /// A ramp the kiln's power cannot follow with its load.
    BeyondPower {
        /// The segment, counted from 1.
        segment: usize,
        /// The ramp, K/h.
        ramp_k_h: f64,
        /// Where the kiln falls behind.
        from: Celsius,
        /// The steepest ramp possible at the segment's hotter end, K/h.
        possible_k_h: f64,
    },
    /// A ramp down that is faster than the closed kiln cools.
    CoolsTooSlowly {
        /// The segment, counted from 1.
        segment: usize,
        /// The ramp, K/h.
        ramp_k_h: f64,
        /// How fast the kiln cools at the segment's end, K/h.
        possible_k_h: f64,
    },
    /// Water is still in the core at the end.
    CoreWet {
        /// The core's hottest.
        core: Celsius,
    },
    /// The core was not hot enough for long enough.
    BurnOffShort {
        /// How long it was.
        given: Minutes,
        /// How long it must be.
        least: Minutes,
        /// How hot.
        burn_off: Celsius,
    },
    /// Core and wall differ too much at the pour.
    UnevenAtPour {
        /// Core less wall.
        difference: Kelvins,
        /// The most allowed either way.
        most: Kelvins,
    },
    /// The core is not at the casting temperature.
    CoreOffCasting {
        /// The core at the pour.
        core: Celsius,
        /// The casting temperature.
        wanted: Celsius,
    },
    /// The wall was already very hot while the core still held water.
    HotWallWetCore {
        /// The wall when the core passed 100 °C.
        wall: Celsius,
    },
    /// The programme had to wait for the kiln to heat.
    WaitedToHeat {
        /// For how long.
        minutes: Minutes,
    },
    /// The programme had to wait for the kiln to cool.
    WaitedToCool {
        /// For how long.
        minutes: Minutes,
        /// How fast the closed kiln fell, K/h.
        fell_k_h: f64,
    },
}

impl fmt::Display for Concern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::TooSteep { zone, range, ramp_k_h, most_k_h } => write!(
                f,
                "{ramp_k_h:.0} K/h through {zone} ({:.0} to {:.0} °C); stay at or below {most_k_h:.0}",
                range.0.get(),
                range.1.get()
            ),
            Self::DryingTooShort { range, given, least } => write!(
                f,
                "{:.0} min between {:.0} and {:.0} °C; give the water {:.0} min, or steam may \
                 crack the mould",
                given.get(),
                range.0.get(),
                range.1.get(),
                least.get()
            ),
            Self::AboveCeiling { reached, ceiling } => write!(
                f,
                "{:.0} °C is above {:.0} °C, where the binder begins to break down: the surface \
                 suffers, and a gypsum binder gives off sulphur dioxide. Go by the maker's data \
                 sheet and extract the fumes",
                reached.get(),
                ceiling.get()
            ),
            Self::AboveUsualTop { reached, usual } => write!(
                f,
                "{:.0} °C is above the usual top of {:.0} °C; look at the maker's data sheet",
                reached.get(),
                usual.get()
            ),
            Self::NeverBurnsOff { reached, burn_off } => write!(
                f,
                "the hottest is {:.0} °C; carbon of the pattern burns away above {:.0} °C",
                reached.get(),
                burn_off.get()
            ),
            Self::TopHoldShort { given, published } => write!(
                f,
                "{:.0} min at the top; published programmes hold a flask of this size {:.0} min",
                given.get(),
                published.get()
            ),
            Self::CastingHoldShort { given, least } => write!(
                f,
                "{:.0} min at the casting temperature; hold at least {:.0} min",
                given.get(),
                least.get()
            ),
            Self::AboveKilnTop { asked, top } => write!(
                f,
                "{:.0} °C is above the kiln's highest temperature of {:.0} °C",
                asked.get(),
                top.get()
            ),
            Self::BeyondPower { segment, ramp_k_h, from, possible_k_h } => write!(
                f,
                "segment {segment} asks for {ramp_k_h:.0} K/h, which the kiln with this load \
                 cannot follow above {:.0} °C; at the segment's end it manages {:.0} K/h",
                from.get(),
                possible_k_h.max(0.0)
            ),
            Self::CoolsTooSlowly { segment, ramp_k_h, possible_k_h } => write!(
                f,
                "segment {segment} asks to cool at {ramp_k_h:.0} K/h; the closed kiln falls at \
                 {possible_k_h:.0} K/h at its end"
            ),
            Self::CoreWet { core } => write!(
                f,
                "the core only reaches {:.0} °C and still holds water: metal poured on water \
                 erupts. Do not pour this flask",
                core.get()
            ),
            Self::BurnOffShort { given, least, burn_off } => write!(
                f,
                "the core is above {:.0} °C for {:.0} min; {:.0} min are needed to burn the \
                 pattern's ash away",
                burn_off.get(),
                given.get(),
                least.get()
            ),
            Self::UnevenAtPour { difference, most } => write!(
                f,
                "at the pour the core is {:.0} K {} than the wall; {:.0} K are the most",
                difference.get().abs(),
                if difference.get() > 0.0 { "hotter" } else { "colder" },
                most.get()
            ),
            Self::CoreOffCasting { core, wanted } => write!(
                f,
                "at the pour the core is at {:.0} °C, the casting temperature is {:.0} °C",
                core.get(),
                wanted.get()
            ),
            Self::HotWallWetCore { wall } => write!(
                f,
                "the wall is already at {:.0} °C when the core is dry: steam has to leave through \
                 hot, fired mould. A longer hold below 180 °C lowers this",
                wall.get()
            ),
            Self::WaitedToHeat { minutes } => write!(
                f,
                "the programme waits {:.0} min for the kiln to heat: it has too little power for \
                 its ramps with this load",
                minutes.get()
            ),
            Self::WaitedToCool { minutes, fell_k_h } => write!(
                f,
                "the programme waits {:.0} min for the kiln to cool: closed, it falls only \
                 {fell_k_h:.0} K/h. Give the way down that much longer, or count on the later end",
                minutes.get()
            ),
        }
    }
}
