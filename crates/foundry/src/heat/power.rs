//! The kiln: elements, walls that lose heat, and what it can therefore follow.

use super::refusal::{HeatRefusal, within};
use crate::quantity::Celsius;

/// What the controller does when the kiln falls behind its programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Behind {
    /// The programme waits until the kiln has caught up.
    #[default]
    Waits,
    /// The clock runs on, and holds are cut short.
    RunsOn,
}

/// A kiln as one body: power, heat it stores, heat it loses.
///
/// # Source
/// The first-order balance of any heat-transfer text: C·dT/dt = P − UA·(T − room) − load.
///
/// # Assumes
/// One temperature in the whole kiln; a constant loss per kelvin; full power always available.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PoweredKiln {
    /// Power of the elements, W.
    pub power_w: f64,
    /// Heat lost through the walls, W/K.
    pub loss_w_k: f64,
    /// Heat stored by the lining, J/K.
    pub lining_j_k: f64,
    /// Heat stored by shelves and anything else beside the flasks, J/K.
    pub furniture_j_k: f64,
    /// Highest temperature it may be run at.
    pub top: Celsius,
    /// Temperature of the room.
    pub room: Celsius,
    /// What the controller does when it falls behind.
    pub behind: Behind,
}

impl PoweredKiln {
    /// Checks that the kiln is one the model means something for.
    pub(crate) fn check(&self) -> Result<(), HeatRefusal> {
        within("the kiln's power", self.power_w, 50.0, 1.0e6, "W")?;
        within("the kiln's loss", self.loss_w_k, 0.0, 1.0e4, "W/K")?;
        within("the kiln's lining", self.lining_j_k, 100.0, 1.0e9, "J/K")?;
        within("the kiln's furniture", self.furniture_j_k, 0.0, 1.0e9, "J/K")?;
        within("the kiln's top temperature", self.top.get(), 50.0, 1800.0, "°C")?;
        within("the room", self.room.get(), -30.0, 60.0, "°C")?;
        Ok(())
    }

    pub(crate) fn stored_j_k(&self) -> f64 {
        self.lining_j_k + self.furniture_j_k
    }
}

/// The kiln a flask is fired in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kiln {
    /// One that follows the programme exactly.
    Ideal,
    /// One with its power and losses, holding so many flasks like the one computed.
    Powered {
        /// The kiln.
        kiln: PoweredKiln,
        /// How many flasks share it; the flask computed counts as one of them.
        flasks: u32,
    },
}
