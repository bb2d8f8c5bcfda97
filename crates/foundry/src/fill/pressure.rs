//! The pressure a section asks for, and the pressure a method gives.

use std::f64::consts::TAU;

use crate::quantity::{GramsPerCubicCentimetre, Millimetres, quantity};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

use super::FillRefusal;

quantity!(
    /// A pressure.
    Kilopascals, "a pressure", "kPa", 0.0, 1.0e6
);

/// Standard acceleration of gravity, m/s², exact by definition (3rd General Conference on
/// Weights and Measures, 1901).
pub(super) const GRAVITY_M_S2: f64 = 9.806_65;

/// The shape of a thin section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// A sheet or web, wide against its thickness.
    Sheet {
        /// Its thickness.
        thickness: Millimetres,
    },
    /// A round wire or prong.
    Wire {
        /// Its diameter.
        diameter: Millimetres,
    },
}

impl Section {
    /// The thickness or diameter, above zero.
    pub(super) fn size_mm(self) -> Result<f64, FillRefusal> {
        let (Self::Sheet { thickness: size } | Self::Wire { diameter: size }) = self;
        let given_mm = size.get();
        if given_mm > 0.0 { Ok(given_mm) } else { Err(FillRefusal::NoSection { given_mm }) }
    }

    /// Surface tension is divided by the size and multiplied by this.
    const fn curvature(self) -> f64 {
        match self {
            Self::Sheet { .. } => 2.0,
            Self::Wire { .. } => 4.0,
        }
    }

    /// Cross-section over circumference, mm: half a sheet's thickness, a quarter of a wire's diameter.
    pub(super) fn modulus_mm(self) -> Result<f64, FillRefusal> {
        Ok(self.size_mm()? / self.curvature())
    }
}

/// How the metal is driven into the mould.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Method {
    /// Its own weight only.
    Gravity,
    /// Air is drawn from the mould through the investment.
    Vacuum {
        /// Pressure below that of the air, as read on the gauge.
        below_air: Kilopascals,
    },
    /// Thrown outward by a turning arm.
    Centrifugal {
        /// Turns in a minute.
        turns_per_min: f64,
        /// From the axis to the surface of the metal.
        from: Millimetres,
        /// From the axis to the section.
        to: Millimetres,
    },
}

/// The pressure that a section of metal which does not wet its mould asks for.
///
/// # Source
/// Capillary pressure of a slot, 2γ/t, and of a round channel, 4γ/d (Laplace).
///
/// # Accuracy
/// As that of the surface tension, 2 to 15 %.
///
/// # Refuses
/// A section without thickness.
pub fn back_pressure(
    section: Section,
    surface_tension_n_m: f64,
) -> Result<Kilopascals, FillRefusal> {
    if surface_tension_n_m.is_nan() || surface_tension_n_m <= 0.0 {
        return Err(FillRefusal::NoProperty { what: "surface tension" });
    }
    // N/m over mm is kPa.
    Ok(Kilopascals::new(section.curvature() * surface_tension_n_m / section.size_mm()?)?)
}

/// The height of metal whose weight gives a pressure.
///
/// # Refuses
/// A density of zero.
pub fn head_for(
    pressure: Kilopascals,
    density: GramsPerCubicCentimetre,
) -> Result<Millimetres, FillRefusal> {
    if density.get() <= 0.0 {
        return Err(FillRefusal::NoProperty { what: "density" });
    }
    // kPa over (g/cm³ × m/s²) is metres.
    Ok(Millimetres::new(pressure.get() / (density.get() * GRAVITY_M_S2) * 1000.0)?)
}

/// The pressure at a section: the weight of the metal above it and what the method adds.
///
/// # Refuses
/// Numbers of the method that cannot be.
pub fn pouring_pressure(
    method: Method,
    head: Millimetres,
    liquid: &Sourced<GramsPerCubicCentimetre>,
) -> Result<Worked<Kilopascals>, FillRefusal> {
    let density = liquid.value;
    let density_figure =
        || Figure::real("density of the liquid", density.get(), "g/cm³", liquid.source.clone());
    within("the height of metal above the section", head.get(), 0.0, 2000.0, "mm")?;
    let weight_kpa = density.get() * GRAVITY_M_S2 * head.get() / 1000.0;
    let mut working = Working::default();
    working.step(
        "density × 9.80665 × height ÷ 1000",
        vec![
            density_figure(),
            Figure::real("height of metal above the section", head.get(), "mm", Source::Entered),
        ],
        Figure::real("pressure of the metal's weight", weight_kpa, "kPa", Source::Computed),
    );
    let added_kpa = match method {
        Method::Gravity => 0.0,
        Method::Vacuum { below_air } => {
            within("the vacuum", below_air.get(), 0.0, 101.325, "kPa")?;
            working.warn("The full vacuum counts only if the mould lets it through: blocked vent channels or a poor seal take it away.");
            below_air.get()
        }
        Method::Centrifugal { turns_per_min, from, to } => {
            within("the turns", turns_per_min, 0.0, 2000.0, "per minute")?;
            within("the distance from the axis to the metal", from.get(), 0.0, 2000.0, "mm")?;
            within(
                "the distance from the axis to the section",
                to.get(),
                from.get(),
                3000.0,
                "mm",
            )?;
            let angular_per_s = TAU * turns_per_min / 60.0;
            let squares_m2 = (to.get().powi(2) - from.get().powi(2)) / 1.0e6;
            let added = 0.5 * density.get() * angular_per_s.powi(2) * squares_m2;
            working.step(
                "density ÷ 2 × (2π × turns ÷ 60)² × (outer² − inner²) ÷ 1000000",
                vec![
                    density_figure(),
                    Figure::real("turns", turns_per_min, "per min", Source::Entered),
                    Figure::real("axis to section", to.get(), "mm", Source::Entered),
                    Figure::real("axis to metal", from.get(), "mm", Source::Entered),
                ],
                Figure::real("pressure from turning", added, "kPa", Source::Computed),
            );
            added
        }
    };
    let pressure = Kilopascals::new(weight_kpa + added_kpa)?;
    working.step(
        "pressure of the weight + pressure of the method",
        vec![
            Figure::real("pressure of the metal's weight", weight_kpa, "kPa", Source::Computed),
            Figure::real("pressure of the method", added_kpa, "kPa", Source::Entered),
        ],
        Figure::real("pressure at the section", pressure.get(), "kPa", Source::Computed),
    );
    Ok(Worked { value: pressure, working })
}

fn within(
    what: &'static str,
    given: f64,
    least: f64,
    greatest: f64,
    unit: &'static str,
) -> Result<(), FillRefusal> {
    if (least..=greatest).contains(&given) {
        Ok(())
    } else {
        Err(FillRefusal::Method { what, least, greatest, unit, given })
    }
}
