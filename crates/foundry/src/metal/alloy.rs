//! What is known of a casting alloy, and whether it is plausible.

use std::borrow::Cow;

use crate::quantity::{Celsius, GramsPerCubicCentimetre, Share};
use crate::source::{Source, Sourced};

use super::{Composition, Fineness, MetalRefusal, PreciousMetal};

/// A casting alloy. What is not known is `None`, never a guess.
#[derive(Debug, Clone, PartialEq)]
pub struct Alloy {
    /// A short lasting name for links and records, such as `sterling-silver`.
    pub key: Cow<'static, str>,
    /// Its name in the trade.
    pub name: Cow<'static, str>,
    /// The group it belongs to.
    pub family: Family,
    /// What it is made of.
    pub composition: Sourced<Composition>,
    /// Density of the sound solid at room temperature.
    pub density: Option<Density>,
    /// Below this all of it is solid.
    pub solidus: Option<Sourced<Celsius>>,
    /// Above this all of it is liquid.
    pub liquidus: Option<Sourced<Celsius>>,
    /// Temperature of the metal when it is poured.
    pub casting: Option<Sourced<TemperatureRange>>,
    /// Temperature of the flask when it is poured.
    pub flask: Option<Sourced<TemperatureRange>>,
    /// Linear contraction of the casting against its pattern.
    pub contraction: Option<Sourced<ShareRange>>,
    /// What a person working with it, or wearing it, should know.
    pub cautions: Vec<Cow<'static, str>>,
}

/// The group an alloy belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Copper with silicon.
    SiliconBronze,
    /// Copper with tin.
    TinBronze,
    /// Copper with zinc.
    Brass,
    /// Silver and its alloys.
    Silver,
    /// Gold and its alloys.
    Gold,
    /// Platinum alloys.
    Platinum,
    /// Palladium alloys.
    Palladium,
    /// Anything else.
    Other,
}

impl Family {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::SiliconBronze,
        Self::TinBronze,
        Self::Brass,
        Self::Silver,
        Self::Gold,
        Self::Platinum,
        Self::Palladium,
        Self::Other,
    ];

    /// The name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SiliconBronze => "silicon bronze",
            Self::TinBronze => "tin bronze",
            Self::Brass => "brass",
            Self::Silver => "silver",
            Self::Gold => "gold",
            Self::Platinum => "platinum",
            Self::Palladium => "palladium",
            Self::Other => "other",
        }
    }

    /// Finds a family by its name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.name() == name)
    }

    /// The metal whose fineness is marked, for the precious families.
    #[must_use]
    pub const fn precious(self) -> Option<PreciousMetal> {
        match self {
            Self::Silver => Some(PreciousMetal::Silver),
            Self::Gold => Some(PreciousMetal::Gold),
            Self::Platinum => Some(PreciousMetal::Platinum),
            Self::Palladium => Some(PreciousMetal::Palladium),
            Self::SiliconBronze | Self::TinBronze | Self::Brass | Self::Other => None,
        }
    }
}

/// A density with its tolerance and origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// The density.
    pub value: GramsPerCubicCentimetre,
    /// How far the true density of a sound piece may be off, as a share of the value.
    pub tolerance: Share,
    /// Where the value comes from.
    pub source: Source,
}

impl Density {
    /// The density in g/cm³, known to be above zero.
    pub(crate) fn divisor(&self, what: &str) -> Result<GramsPerCubicCentimetre, MetalRefusal> {
        if self.value.get() > 0.0 {
            Ok(self.value)
        } else {
            Err(MetalRefusal::NoDensity { what: what.chars().take(80).collect() })
        }
    }
}

/// Two temperatures and all between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperatureRange {
    /// The lower one.
    pub from: Celsius,
    /// The higher one.
    pub to: Celsius,
}

impl TemperatureRange {
    /// Half way between the two.
    #[must_use]
    pub fn middle(self) -> Celsius {
        Celsius::of(f64::midpoint(self.from.get(), self.to.get()))
    }

    /// Whether a temperature lies within, ends included.
    #[must_use]
    pub fn contains(self, temperature: Celsius) -> bool {
        self.from <= temperature && temperature <= self.to
    }
}

/// Two shares and all between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareRange {
    /// The smaller one.
    pub least: Share,
    /// The greater one.
    pub greatest: Share,
}

/// Something about an alloy that cannot be right.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AlloyFault {
    /// Solidus and liquidus are exchanged.
    #[error(
        "the solidus ({solidus_c} °C) lies above the liquidus ({liquidus_c} °C); data sheets often print the two the other way round, exchange them"
    )]
    SolidusAboveLiquidus {
        /// Solidus as given.
        solidus_c: f64,
        /// Liquidus as given.
        liquidus_c: f64,
    },
    /// A range whose ends are exchanged.
    #[error("{what}: the lower end ({from}) lies above the upper end ({to}); exchange them")]
    RangeUpsideDown {
        /// Which range.
        what: &'static str,
        /// Lower end as given.
        from: f64,
        /// Upper end as given.
        to: f64,
    },
    /// The metal would be poured before it is liquid.
    #[error(
        "the casting temperature ({casting_c} °C) lies below the liquidus ({liquidus_c} °C), where part of the metal is still solid"
    )]
    CastBelowLiquidus {
        /// Lowest casting temperature as given.
        casting_c: f64,
        /// Liquidus as given.
        liquidus_c: f64,
    },
    /// A casting temperature that looks like a misprint.
    #[error(
        "the casting temperature ({casting_c} °C) lies more than 400 °C above the liquidus ({liquidus_c} °C); this looks like a misprint or a temperature in Fahrenheit"
    )]
    CastFarAboveLiquidus {
        /// Highest casting temperature as given.
        casting_c: f64,
        /// Liquidus as given.
        liquidus_c: f64,
    },
    /// The flask would be hotter than the metal's solidus.
    #[error(
        "the flask ({flask_c} °C) would be hotter than the solidus ({solidus_c} °C), so the casting could not freeze"
    )]
    FlaskAboveSolidus {
        /// Highest flask temperature as given.
        flask_c: f64,
        /// Solidus as given.
        solidus_c: f64,
    },
    /// A density of zero.
    #[error("the density must be above zero")]
    NoDensity,
}

/// More than this above the liquidus no casting temperature is believed.
const MOST_SUPERHEAT_K: f64 = 400.0;

impl Alloy {
    /// Everything about this alloy that cannot be right; empty when it is plausible.
    #[must_use]
    pub fn faults(&self) -> Vec<AlloyFault> {
        let mut faults = Vec::new();
        let solidus = self.solidus.as_ref().map(|solidus| solidus.value.get());
        let liquidus = self.liquidus.as_ref().map(|liquidus| liquidus.value.get());
        let casting = self.casting.as_ref().map(|casting| casting.value);
        let flask = self.flask.as_ref().map(|flask| flask.value);
        if let (Some(solidus_c), Some(liquidus_c)) = (solidus, liquidus) {
            if solidus_c > liquidus_c {
                faults.push(AlloyFault::SolidusAboveLiquidus { solidus_c, liquidus_c });
            }
        }
        for (what, range) in [("casting temperature", casting), ("flask temperature", flask)] {
            if let Some(TemperatureRange { from, to }) = range {
                if from > to {
                    faults.push(AlloyFault::RangeUpsideDown {
                        what,
                        from: from.get(),
                        to: to.get(),
                    });
                }
            }
        }
        if let Some(range) = self.contraction.as_ref().map(|contraction| contraction.value) {
            if range.least > range.greatest {
                faults.push(AlloyFault::RangeUpsideDown {
                    what: "contraction",
                    from: range.least.get(),
                    to: range.greatest.get(),
                });
            }
        }
        if let (Some(casting), Some(liquidus_c)) = (casting, liquidus) {
            if casting.from.get() < liquidus_c {
                let casting_c = casting.from.get();
                faults.push(AlloyFault::CastBelowLiquidus { casting_c, liquidus_c });
            }
            if casting.to.get() > liquidus_c + MOST_SUPERHEAT_K {
                let casting_c = casting.to.get();
                faults.push(AlloyFault::CastFarAboveLiquidus { casting_c, liquidus_c });
            }
        }
        if let (Some(flask), Some(solidus_c)) = (flask, solidus) {
            if flask.to.get() > solidus_c {
                let flask_c = flask.to.get();
                faults.push(AlloyFault::FlaskAboveSolidus { flask_c, solidus_c });
            }
        }
        if self.density.as_ref().is_some_and(|density| density.value.get() <= 0.0) {
            faults.push(AlloyFault::NoDensity);
        }
        faults
    }

    /// The fineness of its precious metal; `None` for base metals.
    #[must_use]
    pub fn fineness(&self) -> Option<Fineness> {
        let metal = self.family.precious()?;
        Fineness::from_per_mille(self.composition.value.per_mille(metal.element())).ok()
    }
}
