//! Liquid metals: what is known of their surface, weight and heat.

use std::borrow::Cow;

use crate::metal::Family;
use crate::quantity::GramsPerCubicCentimetre;
use crate::source::{Source, Sourced};

/// A liquid metal near its melting point.
#[derive(Debug, Clone, PartialEq)]
pub struct LiquidMetal {
    /// Surface tension, N/m.
    pub surface_tension_n_m: Sourced<f64>,
    /// Density of the liquid.
    pub density: Sourced<GramsPerCubicCentimetre>,
    /// Latent heat of fusion, J/g.
    pub latent_heat_j_g: Sourced<f64>,
    /// Specific heat of the liquid, J/(kg·K).
    pub specific_heat_j_kgk: Sourced<f64>,
}

const KEENE: Source = Source::Published(Cow::Borrowed(
    "after B. J. Keene, Int. Mater. Rev. 38 (1993) 157, value from memory",
));
const HANDBOOK: Source = Source::Published(Cow::Borrowed(
    "W. M. Haynes (ed.), CRC Handbook of Chemistry and Physics, 95th ed., 2014, Density of Molten Elements; Enthalpy of Fusion",
));
const PERRY: Source = Source::Published(Cow::Borrowed(
    "Perry's Chemical Engineers' Handbook, Table 2-151 (3 to 5 %)",
));

/// What is known of the liquid metal of a family, the pure metal standing for its alloys.
///
/// # Source
/// Densities and latent heats of the pure metals: CRC Handbook, 95th edition. Surface tensions
/// from memory after B. J. Keene (1993); K. C. Mills and Y. C. Su, Int. Mater. Rev. 51 (2006)
/// 329, state a systematic error of 2 %, more where oxygen is present. Bronze: assumed.
#[must_use]
pub fn liquid_metal(family: Family) -> Option<LiquidMetal> {
    let (tension, density, latent, heat) = match family {
        Family::Silver => ((0.93, KEENE), (9.320, HANDBOOK), (104.8, HANDBOOK), (318.0, PERRY)),
        Family::Gold => ((1.16, KEENE), (17.31, HANDBOOK), (63.7, HANDBOOK), (149.0, PERRY)),
        Family::SiliconBronze | Family::TinBronze | Family::Brass => (
            (1.2, assumed("no value for bronze was found; ± 15 %")),
            (7.8, assumed("somewhat below liquid copper, 7.997")),
            (230.0, assumed("between copper, 209, and the mean with silicon, 272; ± 15 %")),
            (494.0, assumed("as liquid copper, 494 to 571")),
        ),
        Family::Platinum => (
            (1.8, Source::FromMemory),
            (19.77, HANDBOOK),
            (113.7, HANDBOOK),
            (180.0, Source::FromMemory),
        ),
        Family::Palladium => (
            (1.5, Source::FromMemory),
            (10.38, HANDBOOK),
            (157.3, HANDBOOK),
            (330.0, Source::FromMemory),
        ),
        Family::Other => return None,
    };
    let sourced = |(value, source): (f64, Source)| Sourced { value, source };
    Some(LiquidMetal {
        surface_tension_n_m: sourced(tension),
        density: Sourced { value: GramsPerCubicCentimetre::of(density.0), source: density.1 },
        latent_heat_j_g: sourced(latent),
        specific_heat_j_kgk: sourced(heat),
    })
}

const fn assumed(why: &'static str) -> Source {
    Source::Assumed(Cow::Borrowed(why))
}
