//! The pure metals that go into casting alloys.

use std::borrow::Cow;

use crate::quantity::{Celsius, GramsPerCubicCentimetre, Share};
use crate::source::{Source, Sourced};

use super::alloy::Density;

/// A chemical element that occurs in casting alloys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Element {
    /// Au.
    Gold,
    /// Ag.
    Silver,
    /// Cu.
    Copper,
    /// Zn.
    Zinc,
    /// Sn; the white metal, never the grey powder it turns into in the cold.
    Tin,
    /// Ni.
    Nickel,
    /// Pd.
    Palladium,
    /// Pt.
    Platinum,
    /// Ir.
    Iridium,
    /// Ru.
    Ruthenium,
    /// Co.
    Cobalt,
    /// Si.
    Silicon,
    /// Mn.
    Manganese,
    /// Fe.
    Iron,
    /// Al.
    Aluminium,
    /// Pb.
    Lead,
    /// Ga.
    Gallium,
    /// Rh.
    Rhodium,
}

const HANDBOOK_95: Source = Source::Published(Cow::Borrowed(
    "W. M. Haynes (ed.), CRC Handbook of Chemistry and Physics, 95th ed., 2014, Physical Constants of Inorganic Compounds",
));
const HANDBOOK_80: Source = Source::Published(Cow::Borrowed(
    "D. R. Lide (ed.), CRC Handbook of Chemistry and Physics, 80th ed., 1999",
));

/// Symbol, name, density in g/cm³ with the spread of the handbooks in per cent, melting point in °C.
struct Row(&'static str, &'static str, f64, f64, f64);

impl Element {
    /// All of them.
    pub const ALL: [Self; 18] = [
        Self::Gold,
        Self::Silver,
        Self::Copper,
        Self::Zinc,
        Self::Tin,
        Self::Nickel,
        Self::Palladium,
        Self::Platinum,
        Self::Iridium,
        Self::Ruthenium,
        Self::Cobalt,
        Self::Silicon,
        Self::Manganese,
        Self::Iron,
        Self::Aluminium,
        Self::Lead,
        Self::Gallium,
        Self::Rhodium,
    ];

    const fn row(self) -> Row {
        match self {
            Self::Gold => Row("Au", "gold", 19.3, 0.2, 1064.18),
            Self::Silver => Row("Ag", "silver", 10.5, 0.3, 961.78),
            Self::Copper => Row("Cu", "copper", 8.96, 0.4, 1084.62),
            Self::Zinc => Row("Zn", "zinc", 7.134, 0.1, 419.53),
            Self::Tin => Row("Sn", "tin", 7.287, 0.4, 231.93),
            Self::Nickel => Row("Ni", "nickel", 8.90, 0.1, 1455.0),
            Self::Palladium => Row("Pd", "palladium", 12.0, 0.2, 1554.8),
            Self::Platinum => Row("Pt", "platinum", 21.45, 0.3, 1768.2),
            Self::Iridium => Row("Ir", "iridium", 22.5622, 0.7, 2446.0),
            Self::Ruthenium => Row("Ru", "ruthenium", 12.41, 2.6, 2333.0),
            Self::Cobalt => Row("Co", "cobalt", 8.86, 0.5, 1495.0),
            Self::Silicon => Row("Si", "silicon", 2.3296, 0.05, 1414.0),
            Self::Manganese => Row("Mn", "manganese", 7.3, 2.0, 1246.0),
            Self::Iron => Row("Fe", "iron", 7.87, 0.1, 1538.0),
            Self::Aluminium => Row("Al", "aluminium", 2.70, 0.1, 660.32),
            Self::Lead => Row("Pb", "lead", 11.3, 0.5, 327.46),
            Self::Gallium => Row("Ga", "gallium", 5.91, 0.2, 29.77),
            Self::Rhodium => Row("Rh", "rhodium", 12.4, 0.1, 1964.0),
        }
    }

    /// The chemical symbol.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        self.row().0
    }

    /// The English name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.row().1
    }

    /// Finds an element by its symbol, whatever the case.
    #[must_use]
    pub fn by_symbol(symbol: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|element| element.symbol().eq_ignore_ascii_case(symbol.trim()))
    }

    /// The density of the solid at 20 to 25 °C, with the spread between handbooks.
    ///
    /// # Source
    /// CRC Handbook, 95th edition; platinum and ruthenium from the 80th, which prints
    /// four figures where the later one has three (and 12.1 for ruthenium).
    #[must_use]
    pub fn density(self) -> Density {
        let Row(_, _, density, spread_percent, _) = self.row();
        let source = match self {
            Self::Platinum | Self::Ruthenium => HANDBOOK_80,
            _ => HANDBOOK_95,
        };
        Density {
            value: GramsPerCubicCentimetre::of(density),
            tolerance: Share::from_percent(spread_percent).unwrap_or(Share::NONE),
            source,
        }
    }

    /// The melting point.
    ///
    /// # Source
    /// CRC Handbook, 95th edition; lead, gallium and rhodium from memory.
    #[must_use]
    pub const fn melting_point(self) -> Sourced<Celsius> {
        let source = match self {
            Self::Lead | Self::Gallium | Self::Rhodium => Source::FromMemory,
            _ => HANDBOOK_95,
        };
        Sourced { value: Celsius::of(self.row().4), source }
    }
}
