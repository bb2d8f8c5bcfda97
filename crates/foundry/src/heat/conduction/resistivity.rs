//! Resistance to heat by temperature, quick to look up.

use super::surface::{KELVIN, STEFAN_BOLTZMANN};

/// Resistivity, the inverse of conductivity, at steps of [`TABLE_STEP_C`] from [`TABLE_FOOT_C`].
///
/// Half cells lie one behind the other, so it is their resistances that add up.
#[derive(Debug, Clone)]
pub(super) struct Resistivity {
    values_mk_w: Vec<f64>,
}

const TABLE_FOOT_C: f64 = -60.0;
const TABLE_STEP_C: f64 = 5.0;
const TABLE_LENGTH: usize = 320;

impl Resistivity {
    /// Tabulates a conductivity, W/(m·K).
    pub(super) fn new(conductivity: impl Fn(f64) -> f64) -> Self {
        let at = |n| 1.0 / conductivity(TABLE_FOOT_C + n as f64 * TABLE_STEP_C);
        Self { values_mk_w: (0..TABLE_LENGTH).map(at).collect() }
    }

    pub(super) fn at(&self, t: f64) -> f64 {
        let place = ((t - TABLE_FOOT_C) * (1.0 / TABLE_STEP_C)).clamp(0.0, LAST_PLACE);
        let low = place as usize;
        let [a, b] = [self.values_mk_w[low], self.values_mk_w[low + 1]];
        a + (b - a) * (place - low as f64)
    }
}

/// The last place from which a table goes on.
const LAST_PLACE: f64 = (TABLE_LENGTH - 2) as f64;

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
