//! A filled flask as the heat sees it, from the measures a studio knows.

use std::str::FromStr;

use foundry::heat::{Binder, FlaskBody, GypsumMix, HeatRefusal, SteelWall};
use foundry::quantity::Millimetres;
use foundry::working::Working;

/// Measures and filling of a flask.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mould {
    /// Inside diameter, mm.
    pub inside_mm: f64,
    /// Height of the investment, mm.
    pub height_mm: f64,
    /// Thickness of the steel, mm.
    pub wall_mm: f64,
    /// The investment's binder.
    pub binder: Binder,
    /// Parts of water to 100 of powder.
    pub water_per_100: f64,
}

impl Mould {
    /// The flask to compute with, and the working of its investment.
    ///
    /// # Assumes
    /// For phosphate-bonded investment a mould of silica that binds no water, with the
    /// conductivity of gypsum-bonded investment; the working says so.
    ///
    /// # Errors
    /// Measures outside the ranges in which the model means something.
    pub fn body(&self) -> Result<(FlaskBody, Working), HeatRefusal> {
        let mut mix = GypsumMix { water_per_100: self.water_per_100, ..GypsumMix::default() };
        if self.binder == Binder::Phosphate {
            mix.hemihydrate = 0.0;
        }
        let (mut body, mut working) = FlaskBody::gypsum_bonded(
            Millimetres::new(self.inside_mm)?,
            Millimetres::new(self.height_mm)?,
            mix,
        )?;
        body.wall = Some(SteelWall::stainless(Millimetres::new(self.wall_mm)?));
        if self.binder == Binder::Phosphate {
            working.warn("Phosphate-bonded investment is computed as silica that binds no water, with the conductivity of gypsum-bonded investment; its data sheet decides.");
        }
        Ok((body, working))
    }
}

/// Reads the kind of an investment as it is kept and typed.
///
/// # Errors
/// A sentence that names what is known.
pub fn binder(text: &str) -> Result<Binder, String> {
    match text {
        "gypsum" => Ok(Binder::Gypsum),
        "phosphate" => Ok(Binder::Phosphate),
        _ => Err(format!("“{text}” is no kind of investment known here; use gypsum or phosphate")),
    }
}

/// Diameter and height as they are typed, such as `80x120`, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlaskMeasures {
    /// Inside diameter, mm.
    pub diameter_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
}

impl FromStr for FlaskMeasures {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "“{text}” is not a flask; write inside diameter x height in millimetres, such as 80x120"
            )
        };
        let (diameter, height) = text.split_once(['x', 'X', '×']).ok_or_else(wrong)?;
        let number = |part: &str| part.trim().parse::<f64>().map_err(|_| wrong());
        let measures = Self { diameter_mm: number(diameter)?, height_mm: number(height)? };
        for (what, mm) in [("diameter", measures.diameter_mm), ("height", measures.height_mm)] {
            // Written so that NaN is refused too.
            if !(mm > 0.0 && mm.is_finite()) {
                return Err(format!("the flask's {what} has to be above 0 mm; {mm} was given"));
            }
        }
        Ok(measures)
    }
}
