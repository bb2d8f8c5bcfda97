//! Will a thin section fill? Pressure against surface tension, flow against freezing.
//!
//! Two things stop metal in a thin section: the pressure does not push it in against surface
//! tension, or it freezes on the way. The first is known to some ten per cent, the second only
//! to a factor of four, because the heat that passes from metal to mould is not known for
//! investment. The answer is therefore in three words, with the numbers and their spread.

mod metal;
mod pressure;
mod forecast;

use crate::quantity::QuantityRefusal;

pub use forecast::{Fill, FillInput, FlowBand, HeatTransfer, Verdict, flow_length, will_it_fill};
pub use metal::{LiquidMetal, liquid_metal};
pub use pressure::{Kilopascals, Method, Section, back_pressure, head_for, pouring_pressure};

/// Why a question about filling was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FillRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A section without thickness.
    #[error("the section must be thicker than nothing; {given_mm} mm was given")]
    NoSection {
        /// What was given.
        given_mm: f64,
    },
    /// A property of the liquid metal that has to be above zero is not.
    #[error("the {what} of the liquid metal must be above zero")]
    NoProperty {
        /// Which one.
        what: &'static str,
    },
    /// A number of the casting method that cannot be.
    #[error("{what} must be between {least} and {greatest} {unit}; {given} was given")]
    Method {
        /// Which number.
        what: &'static str,
        /// Least accepted.
        least: f64,
        /// Greatest accepted.
        greatest: f64,
        /// Unit of the three.
        unit: &'static str,
        /// What was given.
        given: f64,
    },
    /// The metal is not all liquid.
    #[error(
        "the metal at {metal_c} °C is below its liquidus of {liquidus_c} °C and would not run; heat it further"
    )]
    NotLiquid {
        /// Temperature of the metal.
        metal_c: f64,
        /// Its liquidus.
        liquidus_c: f64,
    },
    /// The flask is hotter than the metal freezes.
    #[error(
        "the flask at {flask_c} °C is hotter than the liquidus of {liquidus_c} °C, so the metal would not freeze; check the two temperatures"
    )]
    FlaskTooHot {
        /// Temperature of the flask.
        flask_c: f64,
        /// Liquidus of the metal.
        liquidus_c: f64,
    },
}
