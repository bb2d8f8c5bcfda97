//! Conductivity by temperature, quick to look up.

use super::surface::{KELVIN, STEFAN_BOLTZMANN};

/// Conductivity at steps of [`TABLE_STEP_C`] from [`TABLE_FOOT_C`].
#[derive(Debug, Clone)]
pub(super) struct Conductivity {
    values: Vec<f64>,
}

const TABLE_FOOT_C: f64 = -60.0;
const TABLE_STEP_C: f64 = 5.0;
const TABLE_LENGTH: usize = 320;

impl Conductivity {
    pub(super) fn new(of: impl Fn(f64) -> f64) -> Self {
        let values =
            (0..TABLE_LENGTH).map(|n| of(TABLE_FOOT_C + n as f64 * TABLE_STEP_C)).collect();
        Self { values }
    }

    pub(super) fn at(&self, t: f64) -> f64 {
        let place = ((t - TABLE_FOOT_C) / TABLE_STEP_C).clamp(0.0, (TABLE_LENGTH - 2) as f64);
        let low = place as usize;
        let part = place - low as f64;
        self.values[low] + (self.values[low + 1] - self.values[low]) * part
    }
}

/// Conductivity of a solid with hollows: Maxwell's formula for spheres, with radiation across
/// hollows 3 mm wide.
///
/// # Source
/// J. C. Maxwell, A Treatise on Electricity and Magnetism, 1873, art. 314 (from memory). The width
/// of a hollow is assumed: a typical section of a small casting.
pub(super) fn with_voids(solid: f64, hollow: f64, t: f64) -> f64 {
    const WIDTH_M: f64 = 0.003;
    const AIR_W_MK: f64 = 0.04;
    let absolute = t + KELVIN;
    let void = AIR_W_MK + 4.0 * STEFAN_BOLTZMANN * absolute.powi(3) * WIDTH_M;
    let (above, below) = (void + 2.0 * solid, solid - void);
    solid * (above - 2.0 * hollow * below) / (above + hollow * below)
}
