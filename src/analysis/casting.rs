//! How a model is to be cast: what its analysis is asked with.

use foundry::fill;
use foundry::quantity::{Millimetres, QuantityRefusal};
use serde::{Deserialize, Serialize};

use super::CastAlloy;
use crate::id::AlloyId;
use crate::json::feed::SprueJson;

/// How the metal is driven into the mould.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// By its own weight.
    Gravity,
    /// Air is drawn through the investment.
    Vacuum,
    /// Thrown by a turning arm.
    Centrifugal,
}

impl Method {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Gravity, Self::Vacuum, Self::Centrifugal];

    /// Its name in forms.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Gravity => "gravity",
            Self::Vacuum => "vacuum",
            Self::Centrifugal => "centrifugal",
        }
    }

    /// Its name for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Gravity => "Gravity",
            Self::Vacuum => "Vacuum",
            Self::Centrifugal => "Centrifugal",
        }
    }
}

impl std::str::FromStr for Method {
    type Err = ();
    fn from_str(text: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|method| method.code() == text).ok_or(())
    }
}

/// How a model is to be cast.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Casting {
    /// The alloy.
    pub alloy: AlloyId,
    /// How the metal is driven.
    pub method: Method,
    /// Pressure below the air's, where air is drawn off.
    pub vacuum_kpa: f64,
    /// Turns of the arm in a minute, where there is one.
    pub turns_per_min: f64,
    /// From the arm's axis to the surface of the metal.
    pub arm_mm: f64,
    /// Height of metal above the piece.
    pub head_mm: f64,
    /// Temperature of the metal as poured.
    pub metal_c: f64,
    /// Temperature of the flask.
    pub flask_c: f64,
    /// Walls thinner than this count as thin.
    pub limit_mm: f64,
    /// The sprues.
    pub sprues: Vec<SprueJson>,
}

/// Walls below this are called thin unless told otherwise (common practice, no source).
pub(super) const THIN_MM: f64 = 0.8;

impl Casting {
    /// The usual way of casting an alloy (common practice, no source): vacuum, half a hand of
    /// metal above the piece, the alloy's own temperatures, no sprues yet.
    #[must_use]
    pub fn usual(alloy: &CastAlloy) -> Self {
        Self {
            alloy: alloy.id,
            method: Method::Vacuum,
            vacuum_kpa: 80.0,
            turns_per_min: 450.0,
            arm_mm: 180.0,
            head_mm: 50.0,
            metal_c: alloy.melt_c,
            flask_c: alloy.flask_c,
            limit_mm: THIN_MM,
            sprues: Vec::new(),
        }
    }

    /// The method with its numbers.
    ///
    /// # Errors
    /// Numbers that are no quantities.
    pub(super) fn driven(&self) -> Result<fill::Method, QuantityRefusal> {
        Ok(match self.method {
            Method::Gravity => fill::Method::Gravity,
            Method::Vacuum => {
                fill::Method::Vacuum { below_air: fill::Kilopascals::new(self.vacuum_kpa)? }
            }
            Method::Centrifugal => fill::Method::Centrifugal {
                turns_per_min: self.turns_per_min,
                from: Millimetres::new(self.arm_mm)?,
                // The section lies as much farther out as the metal stands above it.
                to: Millimetres::new(self.arm_mm + self.head_mm)?,
            },
        })
    }
}
