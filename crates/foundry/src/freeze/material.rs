//! Thermal data of metals and moulds, as ranges.
//!
//! Hardly any casting alloy has measured heat data near its melting point. So
//! every number is a range with its origin, and an answer is computed for the
//! usual values and for the two ends that freeze slowest and fastest.

use super::curve::CurveInput;
use super::refusal::{FreezeRefusal, within};
use crate::source::Source;

/// A number known within limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Low end.
    pub low: f64,
    /// Value to use when one is needed.
    pub usual: f64,
    /// High end.
    pub high: f64,
    /// Where it comes from.
    pub source: Source,
}

impl Spread {
    /// A range; the ends are sorted.
    #[must_use]
    pub fn new(low: f64, usual: f64, high: f64, source: Source) -> Self {
        Self { low: low.min(usual).min(high), usual, high: high.max(usual).max(low), source }
    }

    /// A range of a share either side of the usual value.
    #[must_use]
    pub fn within_share(usual: f64, share: f64, source: Source) -> Self {
        Self::new(usual * (1.0 - share), usual, usual * (1.0 + share), source)
    }

    fn at(&self, end: f64) -> f64 {
        if end < 0.0 {
            self.usual + end * (self.usual - self.low)
        } else {
            self.usual + end * (self.high - self.usual)
        }
    }
}

/// Which values of the ranges a calculation takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Within {
    /// The ends that make the metal freeze soonest.
    Fastest,
    /// The usual values.
    Usual,
    /// The ends that make the metal freeze latest.
    Slowest,
}

impl Within {
    fn toward_slow(self) -> f64 {
        match self {
            Self::Fastest => -1.0,
            Self::Usual => 0.0,
            Self::Slowest => 1.0,
        }
    }
}

/// A metal's heat data near its melting point.
#[derive(Debug, Clone, PartialEq)]
pub struct MetalHeat {
    /// Name by which it is found.
    pub name: String,
    /// Temperature at which the last liquid freezes, °C.
    pub solidus_c: Spread,
    /// Temperature at which the first solid forms, °C; equal to the solidus in a pure metal.
    pub liquidus_c: Spread,
    /// Melting point of the main metal, °C, for the lever rule; `None` frees the heat evenly.
    pub solvent_melts_c: Option<f64>,
    /// Density near the melting point, kg/m³.
    pub density_kg_m3: Spread,
    /// Latent heat of fusion, kJ/kg.
    pub latent_kj_kg: Spread,
    /// Specific heat of the hot solid, J/(kg·K).
    pub solid_j_kgk: Spread,
    /// Specific heat of the liquid, J/(kg·K).
    pub liquid_j_kgk: Spread,
    /// Conductivity of the hot solid, W/(m·K).
    pub solid_w_mk: Spread,
    /// Conductivity of the liquid, W/(m·K).
    pub liquid_w_mk: Spread,
    /// Share of its volume the liquid loses in freezing.
    pub freezing_shrinkage: Spread,
}

/// A fired mould's heat data.
#[derive(Debug, Clone, PartialEq)]
pub struct MouldHeat {
    /// Conductivity, W/(m·K).
    pub conductivity_w_mk: Spread,
    /// Density, kg/m³.
    pub density_kg_m3: Spread,
    /// Specific heat, J/(kg·K).
    pub specific_j_kgk: Spread,
}

impl MouldHeat {
    /// Fired gypsum-bonded block investment.
    ///
    /// # Source
    /// Ranges from memory: no measured conductivity of fired jewellery
    /// investment was found. Set pure gypsum of 57.5 % porosity has
    /// 0.3004 W/(m·K) (ACEE Journal 2019, doi 10.21307/acee-2019-037).
    /// Density from a mass balance of powder and water at 40:100.
    #[must_use]
    pub fn gypsum_investment() -> Self {
        Self {
            conductivity_w_mk: Spread::new(0.3, 0.45, 0.6, Source::FromMemory),
            density_kg_m3: Spread::new(1100.0, 1230.0, 1300.0, Source::Computed),
            specific_j_kgk: Spread::new(900.0, 1000.0, 1100.0, Source::FromMemory),
        }
    }
}

/// What is cast and into what.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditions {
    /// The metal.
    pub metal: MetalHeat,
    /// The mould.
    pub mould: MouldHeat,
    /// Temperature of the metal as it fills the mould, °C.
    pub pour_c: f64,
    /// Temperature of the flask at casting, °C.
    pub flask_c: f64,
    /// Solid share at which metal stops flowing through the metal around it.
    pub feeds_until_solid: f64,
}

/// Solid share up to which a section still feeds. A usual choice in casting
/// calculations for the end of feeding through the mush; from memory.
pub const FEEDS_UNTIL_SOLID: f64 = 0.7;

impl Conditions {
    /// Usual conditions: 100 K over the liquidus, the flask at 538 °C (1000 °F),
    /// both common practice for silicon bronze.
    #[must_use]
    pub fn usual(metal: MetalHeat) -> Self {
        let pour_c = metal.liquidus_c.usual + 100.0;
        Self {
            metal,
            mould: MouldHeat::gypsum_investment(),
            pour_c,
            flask_c: 538.0,
            feeds_until_solid: FEEDS_UNTIL_SOLID,
        }
    }

    /// Picks numbers from the ranges.
    ///
    /// # Refuses
    /// Values that are out of order (solidus above liquidus, a flask hotter
    /// than the solidus) or outside any casting.
    pub(super) fn numbers(&self, within_range: Within) -> Result<Numbers, FreezeRefusal> {
        let slow = within_range.toward_slow();
        let (m, d) = (&self.metal, &self.mould);
        let liquidus_c = within("the liquidus", "°C", m.liquidus_c.usual, -50.0, 3500.0)?;
        let solidus_c = within("the solidus", "°C", m.solidus_c.usual, -273.0, liquidus_c)?;
        let flask_c =
            within("the flask's temperature", "°C", self.flask_c, -50.0, solidus_c - 10.0)?;
        let pour_c =
            within("the pouring temperature", "°C", self.pour_c, liquidus_c, liquidus_c + 600.0)?;
        within("the solid share at which feeding ends", "", self.feeds_until_solid, 0.05, 0.999)?;
        let positive = |what, unit, value| within(what, unit, value, 1e-9, 1e12);
        let density_kg_m3 = positive("the metal's density", "kg/m³", m.density_kg_m3.at(slow))?;
        let numbers = Numbers {
            curve: CurveInput {
                solidus_k: solidus_c - flask_c,
                liquidus_k: liquidus_c - flask_c,
                solvent_k: m.solvent_melts_c.map(|t| t - flask_c),
                density_kg_m3,
                latent_j_kg: 1e3 * positive("the latent heat", "kJ/kg", m.latent_kj_kg.at(slow))?,
                solid_j_kgk: positive("the specific heat", "J/(kg·K)", m.solid_j_kgk.at(slow))?,
                liquid_j_kgk: positive("the specific heat", "J/(kg·K)", m.liquid_j_kgk.at(slow))?,
            },
            pour_above_k: pour_c - flask_c,
            solid_w_mk: positive("the conductivity", "W/(m·K)", m.solid_w_mk.at(slow))?,
            liquid_w_mk: positive("the conductivity", "W/(m·K)", m.liquid_w_mk.at(slow))?,
            mould_w_mk: positive("the mould's conductivity", "W/(m·K)", {
                d.conductivity_w_mk.at(-slow)
            })?,
            mould_j_m3k: positive("the mould's density", "kg/m³", d.density_kg_m3.at(-slow))?
                * positive("the mould's specific heat", "J/(kg·K)", d.specific_j_kgk.at(-slow))?,
        };
        Ok(numbers)
    }
}

/// Numbers picked for one calculation; temperatures count from the flask's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Numbers {
    pub curve: CurveInput,
    pub pour_above_k: f64,
    pub solid_w_mk: f64,
    pub liquid_w_mk: f64,
    pub mould_w_mk: f64,
    pub mould_j_m3k: f64,
}

impl Numbers {
    /// Seconds for one square millimetre of modulus when the mould alone
    /// limits the heat flow and its face stays at the middle of the freezing
    /// range: B = (π/4)·(ρ(L + cΔT)/(T − T0))²/(kρc)mould.
    ///
    /// # Source
    /// M. C. Flemings, Solidification Processing, 1974; from memory.
    pub(super) fn seconds_per_mm2(&self) -> f64 {
        let c = &self.curve;
        let face_k = 0.5 * (c.solidus_k + c.liquidus_k);
        let heat = c.density_kg_m3
            * (c.latent_j_kg + c.liquid_j_kgk * (self.pour_above_k - face_k).max(0.0));
        std::f64::consts::FRAC_PI_4 * (heat / face_k).powi(2) / (self.mould_w_mk * self.mould_j_m3k)
            * 1e-6
    }

    /// The same when the metal alone limits the heat flow, its face at the
    /// mould's temperature: ρ(L + cΔT)/(2kΔT), Stefan's solution for little
    /// specific heat.
    pub(super) fn cold_wall_seconds_per_mm2(&self) -> f64 {
        let c = &self.curve;
        let heat = c.latent_j_kg + c.liquid_j_kgk * self.pour_above_k;
        1e-6 * c.density_kg_m3 * heat / (2.0 * self.solid_w_mk * c.solidus_k)
    }

    /// Diffusivity of the mould, mm²/s.
    pub(super) fn mould_mm2_s(&self) -> f64 {
        1e6 * self.mould_w_mk / self.mould_j_m3k
    }
}
