//! The density of an alloy from its composition, and how wrong that is.

use crate::quantity::{GramsPerCubicCentimetre, Share};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::alloy::Density;
use super::{Composition, Element, MetalRefusal};

/// A density computed from a composition.
#[derive(Debug, Clone, PartialEq)]
pub struct AdditiveDensity {
    /// The density as computed, for the sound solid.
    pub density: GramsPerCubicCentimetre,
    /// How far real alloys of this kind were found from the rule; `None` where nothing was found to compare.
    pub error: Option<ErrorBand>,
}

/// How far the real density lies from the computed one, in per cent of the computed one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorBand {
    /// Lower end; negative when real alloys are lighter.
    pub from_percent: f64,
    /// Upper end; positive when real alloys are denser.
    pub to_percent: f64,
}

impl AdditiveDensity {
    /// The density with the stated error as its tolerance; 5 % where none is known.
    #[must_use]
    pub fn to_density(&self) -> Density {
        let percent = self.error.map_or(UNKNOWN_ERROR_PERCENT, |band| {
            band.from_percent.abs().max(band.to_percent.abs())
        });
        Density {
            value: self.density,
            tolerance: Share::from_percent(percent).unwrap_or(Share::NONE),
            source: Source::Computed,
        }
    }
}

/// Taken where no measured alloy of the kind was found.
const UNKNOWN_ERROR_PERCENT: f64 = 5.0;
/// Silicon below this many parts per thousand changes the density by less than the other errors.
const SILICON_TRACE_PER_MILLE: i64 = 3;

/// The density of an alloy whose metals keep their own volumes: 1/ρ = Σ wᵢ/ρᵢ.
///
/// Never the mass-weighted mean of the densities, which is 7 % too heavy for 18 karat gold.
///
/// # Source
/// The rule is plain additivity of volumes; densities of the metals as in [`Element::density`].
/// J. C. Kraut and W. B. Stern, Gold Bulletin 33 (2000) 52, show that Au-Ag-Cu alloys depart
/// from it measurably through ordering.
///
/// # Accuracy
/// Compared with densities printed in trade tables: Au-Ag-Cu with zinc or nickel, and Ag-Cu,
/// within 1.5 %; Pt with Ru or Ir within 0.5 %; real tin bronze is about 1 % and brass 2.5 %
/// denser than computed. Porosity of a casting, 0 to 2 %, is not in it.
///
/// # Refuses
/// Alloys with silicon: dissolved in copper it takes far less room than in its own crystal,
/// and the rule is 3 to 6 % too light.
pub fn additive_density(
    composition: &Composition,
) -> Result<Worked<AdditiveDensity>, MetalRefusal> {
    let silicon = composition.per_mille(Element::Silicon);
    if silicon > SILICON_TRACE_PER_MILLE.into() {
        return Err(MetalRefusal::SiliconNeedsMeasuredDensity { per_mille: silicon });
    }
    let mut worked = additive_density_with(composition, Element::density)?;
    worked.value.error = error_band(composition);
    match worked.value.error {
        Some(band) => worked.working.warn(format!(
            "Real alloys of this kind lie between {:+.1} % and {:+.1} % of the computed density; weighing a sound piece in water settles it.",
            band.from_percent, band.to_percent
        )),
        None => worked.working.warn(
            "No measured alloy of this kind was found to compare with; the computed density may be off by 5 %. Weigh a sound piece in water.",
        ),
    };
    Ok(worked)
}

/// The same rule with densities of the metals handed in, for any composition and without a stated error.
///
/// # Refuses
/// A density of zero.
pub fn additive_density_with(
    composition: &Composition,
    density_of: impl Fn(Element) -> Density,
) -> Result<Worked<AdditiveDensity>, MetalRefusal> {
    let mut working = Working::default();
    let mut volume_cm3 = 0.0;
    let mut volumes = Vec::new();
    for part in composition.parts() {
        let density = density_of(part.element);
        let per_cm3 = density.divisor(part.element.name())?.get();
        let grams = decimal_to_f64(part.per_mille);
        let part_cm3 = grams / per_cm3;
        volume_cm3 += part_cm3;
        let volume = Figure::real(
            format!("volume of {}", part.element.name()),
            part_cm3,
            "cm³",
            Source::Computed,
        );
        volumes.push(volume.clone());
        working.step(
            "grams in 1000 g of alloy ÷ density",
            vec![
                Figure::exact(part.element.name(), part.per_mille, "g", Source::Entered),
                Figure::real(
                    format!("density of {}", part.element.name()),
                    per_cm3,
                    "g/cm³",
                    density.source,
                ),
            ],
            volume,
        );
    }
    let density = GramsPerCubicCentimetre::new(1000.0 / volume_cm3)?;
    working.step(
        "1000 g ÷ sum of the volumes",
        volumes,
        Figure::real("density of the alloy", density.get(), "g/cm³", Source::Computed),
    );
    Ok(Worked { value: AdditiveDensity { density, error: None }, working })
}

/// What was found when the rule was held against printed densities of real alloys.
fn error_band(composition: &Composition) -> Option<ErrorBand> {
    use Element::{Copper, Gold, Iridium, Nickel, Platinum, Ruthenium, Silver, Tin, Zinc};
    let only = |allowed: &[Element]| {
        composition.parts().iter().all(|part| allowed.contains(&part.element))
    };
    if composition.parts().len() == 1 {
        return Some(ErrorBand { from_percent: -0.5, to_percent: 0.5 });
    }
    if composition.contains(Gold) && only(&[Gold, Silver, Copper, Zinc, Nickel])
        || composition.contains(Silver) && only(&[Silver, Copper])
    {
        return Some(ErrorBand { from_percent: -1.5, to_percent: 1.5 });
    }
    if composition.contains(Platinum) && only(&[Platinum, Ruthenium, Iridium]) {
        return Some(ErrorBand { from_percent: -0.5, to_percent: 0.5 });
    }
    if composition.contains(Copper) && composition.contains(Tin) && only(&[Copper, Tin, Zinc]) {
        return Some(ErrorBand { from_percent: 0.0, to_percent: 1.5 });
    }
    if composition.contains(Copper) && only(&[Copper, Zinc]) {
        return Some(ErrorBand { from_percent: 0.0, to_percent: 3.0 });
    }
    None
}

/// Parts per thousand as a float, for arithmetic with measured densities.
fn decimal_to_f64(value: rust_decimal::Decimal) -> f64 {
    use rust_decimal::prelude::ToPrimitive;
    value.to_f64().unwrap_or(0.0)
}
