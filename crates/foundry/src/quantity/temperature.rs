//! Temperatures: points on the Celsius scale, and differences in kelvins.

use super::{amounts, quantity};

quantity!(
    /// A temperature, as a point on the scale.
    Celsius, "a temperature", "°C", -273.15, 4000.0
);

quantity!(
    /// A difference of temperatures.
    Kelvins, "a temperature difference", "K", -5000.0, 5000.0
);
amounts!(Kelvins);

impl Celsius {
    /// A temperature given on the Fahrenheit scale.
    pub fn from_fahrenheit(fahrenheit: f64) -> Result<Self, super::QuantityRefusal> {
        Self::new((fahrenheit - 32.0) / 1.8)
    }

    /// The temperature on the Fahrenheit scale.
    #[must_use]
    pub fn fahrenheit(self) -> f64 {
        self.0 * 1.8 + 32.0
    }

    /// The absolute temperature, in kelvins.
    #[must_use]
    pub fn absolute_k(self) -> f64 {
        self.0 + 273.15
    }
}

impl std::ops::Sub for Celsius {
    type Output = Kelvins;
    fn sub(self, other: Self) -> Kelvins {
        Kelvins::of(self.0 - other.0)
    }
}

impl std::ops::Add<Kelvins> for Celsius {
    type Output = Self;
    fn add(self, difference: Kelvins) -> Self {
        Self(self.0 + difference.get())
    }
}
