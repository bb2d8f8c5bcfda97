//! The kiln: elements, walls that lose heat, and what it can therefore follow.

use super::programme::KelvinsPerHour;
use super::refusal::{HeatRefusal, within};
use crate::quantity::{Celsius, Minutes};

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

    /// Heat stored by lining and furniture, J/K.
    #[must_use]
    pub fn stored_j_k(&self) -> f64 {
        self.lining_j_k + self.furniture_j_k
    }

    /// The temperature full power ends at after a very long time.
    #[must_use]
    pub fn hottest_c(&self) -> f64 {
        self.room.get() + self.power_w / self.loss_w_k.max(1.0e-9)
    }

    /// The steepest ramp at a temperature with a load of so many J/K; negative when full power
    /// cannot even hold it. K/h.
    #[must_use]
    pub fn steepest_k_h(&self, at: Celsius, load_j_k: f64) -> f64 {
        let spare_w = self.power_w - self.loss_w_k * (at - self.room).get();
        spare_w / (self.stored_j_k() + load_j_k) * 3600.0
    }

    /// How fast it cools by itself at a temperature. K/h.
    #[must_use]
    pub fn cooling_k_h(&self, at: Celsius, load_j_k: f64) -> f64 {
        self.loss_w_k * (at - self.room).get() / (self.stored_j_k() + load_j_k) * 3600.0
    }

    /// The highest temperature up to which a ramp can be followed with a load; `None` when it
    /// cannot be followed from the room's temperature on.
    #[must_use]
    pub fn follows_up_to(&self, rate: KelvinsPerHour, load_j_k: f64) -> Option<Celsius> {
        let needed_w = rate.get() / 3600.0 * (self.stored_j_k() + load_j_k);
        let over_k = (self.power_w - needed_w) / self.loss_w_k.max(1.0e-9);
        let limit = Celsius::new(self.room.get() + over_k.min(3000.0)).ok()?;
        (over_k > 0.0).then_some(limit)
    }

    /// How long full power takes from one temperature to a higher one; `None` when it never
    /// gets there.
    #[must_use]
    pub fn full_power_time(&self, from: Celsius, to: Celsius, load_j_k: f64) -> Option<Minutes> {
        self.time_between(self.power_w, from, to, load_j_k)
    }

    /// How long it takes to fall from one temperature to a lower one, switched off; `None` when
    /// it never gets there.
    #[must_use]
    pub fn cooling_time(&self, from: Celsius, to: Celsius, load_j_k: f64) -> Option<Minutes> {
        self.time_between(0.0, from, to, load_j_k)
    }

    fn time_between(
        &self,
        power_w: f64,
        from: Celsius,
        to: Celsius,
        load_j_k: f64,
    ) -> Option<Minutes> {
        let loss = self.loss_w_k.max(1.0e-9);
        let end_c = self.room.get() + power_w / loss;
        let ratio = (end_c - from.get()) / (end_c - to.get());
        let seconds = (self.stored_j_k() + load_j_k) / loss * ratio.ln();
        (seconds.is_finite() && seconds >= 0.0).then(|| Minutes::of(seconds / 60.0))
    }

    /// Electricity for an even ramp from the room's temperature, if it can be followed. kWh.
    #[must_use]
    pub fn ramp_kwh(&self, to: Celsius, rate: KelvinsPerHour, load_j_k: f64) -> f64 {
        let rise_k = (to - self.room).get();
        let rate_k_s = (rate.get() / 3600.0).max(1.0e-9);
        let stored_j = (self.stored_j_k() + load_j_k) * rise_k;
        (stored_j + self.loss_w_k * rise_k * rise_k / (2.0 * rate_k_s)) / J_PER_KWH
    }

    /// Electricity to hold a temperature. kWh.
    #[must_use]
    pub fn hold_kwh(&self, at: Celsius, time: Minutes) -> f64 {
        self.loss_w_k * (at - self.room).get() * time.seconds().get() / J_PER_KWH
    }
}

/// Joules in a kilowatt hour.
pub(crate) const J_PER_KWH: f64 = 3.6e6;

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
