//! From a model's volume or a pattern's mass to the metal of a piece.

use std::borrow::Cow;

use crate::quantity::{CubicMillimetres, Grams, GramsPerCubicCentimetre, Share};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::MetalRefusal;
use super::alloy::Density;

/// A material patterns are made of.
#[derive(Debug, Clone, PartialEq)]
pub struct PatternMaterial {
    /// What it is.
    pub name: Cow<'static, str>,
    /// Its density when solid and cured.
    pub density: Density,
}

/// Usual densities of pattern materials, to start from until a printed cube has been weighed.
#[must_use]
pub fn pattern_materials() -> Vec<PatternMaterial> {
    let entry = |name, density, tolerance, source| PatternMaterial {
        name: Cow::Borrowed(name),
        density: Density {
            value: GramsPerCubicCentimetre::of(density),
            tolerance: Share::from_percent(tolerance).unwrap_or(Share::NONE),
            source,
        },
    };
    vec![
        entry("castable resin, cured", 1.15, 5.0, Source::FromMemory),
        entry("wax-filled castable resin, cured", 1.08, 6.0, Source::FromMemory),
        entry(
            "jewellery wax",
            0.96,
            2.0,
            Source::Published(Cow::Borrowed(
                "O. Untracht, Jewelry Concepts and Technology, 1982, as quoted by others (0.95 to 0.98)",
            )),
        ),
        entry("injection wax", 0.94, 2.5, Source::FromMemory),
        entry("carving wax", 0.99, 3.0, Source::FromMemory),
    ]
}

/// The mass of metal that fills a volume, less its contraction if one is given.
///
/// # Units
/// Volume of the model in mm³; result in grams.
///
/// # Accuracy
/// As good as the volume and the density; the density's tolerance is in the warnings.
///
/// # Refuses
/// A density of zero.
pub fn metal_mass_from_volume(
    volume: CubicMillimetres,
    density: &Density,
    contraction: Option<(Share, Source)>,
) -> Result<Worked<Grams>, MetalRefusal> {
    let per_cm3 = density.divisor("the alloy")?;
    let mass = Grams::new(volume.cubic_centimetres() * per_cm3.get())?;
    let mut working = Working::default();
    working.step(
        "volume ÷ 1000 × density",
        vec![
            Figure::real("volume of the model", volume.get(), "mm³", Source::Entered),
            Figure::real("density of the alloy", per_cm3.get(), "g/cm³", density.source.clone()),
        ],
        Figure::real("mass of metal", mass.get(), "g", Source::Computed),
    );
    let mass = contracted(mass, contraction, &mut working);
    warn_of_tolerance(density, &mut working);
    Ok(Worked { value: mass, working })
}

/// How many grams of metal replace one gram of pattern.
///
/// # Refuses
/// A density of zero.
pub fn pattern_to_metal_ratio(metal: &Density, pattern: &Density) -> Result<f64, MetalRefusal> {
    Ok(metal.divisor("the alloy")?.get() / pattern.divisor("the pattern")?.get())
}

/// The mass of metal that takes the place of a weighed pattern, less its contraction if one is given.
///
/// # Assumes
/// The pattern is solid, dry and free of supports.
///
/// # Accuracy
/// A printed resin is 15 to 25 % denser than wax: with a factor meant for wax the metal comes
/// out too heavy by as much.
///
/// # Refuses
/// A density of zero.
pub fn metal_mass_from_pattern(
    pattern: Grams,
    pattern_density: &Density,
    density: &Density,
    contraction: Option<(Share, Source)>,
) -> Result<Worked<Grams>, MetalRefusal> {
    let ratio = pattern_to_metal_ratio(density, pattern_density)?;
    let mass = Grams::new(pattern.get() * ratio)?;
    let mut working = Working::default();
    working.step(
        "density of the alloy ÷ density of the pattern",
        vec![
            Figure::real(
                "density of the alloy",
                density.value.get(),
                "g/cm³",
                density.source.clone(),
            ),
            Figure::real(
                "density of the pattern",
                pattern_density.value.get(),
                "g/cm³",
                pattern_density.source.clone(),
            ),
        ],
        Figure::real("grams of metal for a gram of pattern", ratio, "", Source::Computed),
    );
    working.step(
        "mass of the pattern × ratio",
        vec![
            Figure::real("mass of the pattern", pattern.get(), "g", Source::Entered),
            Figure::real("ratio", ratio, "", Source::Computed),
        ],
        Figure::real("mass of metal", mass.get(), "g", Source::Computed),
    );
    let mass = contracted(mass, contraction, &mut working);
    working.warn("Weigh the pattern dry, solid and without supports; a hollow or wet one gives too much metal.");
    warn_of_tolerance(density, &mut working);
    Ok(Worked { value: mass, working })
}

/// A casting is smaller than its pattern by the contraction in each direction.
fn contracted(mass: Grams, contraction: Option<(Share, Source)>, working: &mut Working) -> Grams {
    let Some((share, source)) = contraction else { return mass };
    let kept = 1.0 - share.get();
    let smaller = mass * kept.powi(3);
    working.step(
        "mass of metal × (1 − contraction)³",
        vec![
            Figure::real("mass of metal", mass.get(), "g", Source::Computed),
            Figure::real("linear contraction", share.percent(), "%", source),
        ],
        Figure::real("mass of the casting", smaller.get(), "g", Source::Computed),
    );
    smaller
}

fn warn_of_tolerance(density: &Density, working: &mut Working) {
    if density.tolerance > Share::NONE {
        working.warn(format!(
            "The density of the alloy is known to ±{} %, and the mass with it.",
            round_to(density.tolerance.percent(), 2)
        ));
    }
}

fn round_to(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    (value * scale).round() / scale
}
