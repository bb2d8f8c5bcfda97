//! Heat across the surface of a flask.

use crate::heat::body::{Convection, Surface};

/// Stefan and Boltzmann's constant, W/(m²·K⁴), exact in the SI of 2019.
pub(super) const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Celsius to kelvin.
pub(super) const KELVIN: f64 = 273.15;

/// Coefficient from the middle of a cell through its surface to the kiln, W/(m²·K).
///
/// `inner` is the cell's own conductance to its surface; the surface lies between cell and kiln,
/// which decides how much it radiates.
pub(super) fn through(surface: Surface, inner: f64, cell_c: f64, kiln_c: f64) -> f64 {
    if inner.is_infinite() {
        return coefficient(surface, cell_c, kiln_c);
    }
    let mut at_surface = cell_c;
    let mut outer = coefficient(surface, at_surface, kiln_c);
    if surface.emissivity > 0.0 || matches!(surface.convection, Convection::Still(_)) {
        // The coefficient changes slowly with the surface: twice round leaves less than 0.1 %.
        for _ in 0..2 {
            at_surface = (inner * cell_c + outer * kiln_c) / (inner + outer);
            outer = coefficient(surface, at_surface, kiln_c);
        }
    }
    inner * outer / (inner + outer)
}

/// Coefficient of radiation and convection between a surface and the kiln, W/(m²·K).
fn coefficient(surface: Surface, surface_c: f64, kiln_c: f64) -> f64 {
    let convection = match surface.convection {
        Convection::Constant(h) => h,
        Convection::Still(h) => h * ((kiln_c - surface_c).abs() / 100.0).sqrt().sqrt(),
    };
    let (a, b) = (surface_c + KELVIN, kiln_c + KELVIN);
    convection + surface.emissivity * STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)
}
