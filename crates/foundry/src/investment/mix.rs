//! Powder and water for flasks, and flasks shared out over mixes.

use std::borrow::Cow;
use std::f64::consts::PI;

use crate::quantity::{CubicMillimetres, Grams, GramsPerCubicCentimetre, Millimetres, Share};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

use super::{Binder, InvestmentRefusal, Powder, SILICA_CAUTION, WaterRatio};

/// A flask with its tree, to be filled with slurry.
#[derive(Debug, Clone, PartialEq)]
pub struct FlaskToFill {
    /// What it is called, such as its number.
    pub name: Cow<'static, str>,
    /// Inside diameter.
    pub diameter: Millimetres,
    /// Inside height.
    pub height: Millimetres,
    /// Volume of pieces, sprue and the part of the base that stands inside.
    pub tree: CubicMillimetres,
    /// Volume of cords, straws or a screen that keep vacuum channels open.
    pub channels: CubicMillimetres,
    /// Slurry standing above the rim in a collar when vacuum is drawn.
    pub above_rim: Millimetres,
}

/// Bowl, vacuum bell and pump: what one mix may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Bowl {
    /// What the bowl holds to its brim.
    pub brimful: CubicMillimetres,
    /// How many times its volume the slurry rises to under vacuum.
    pub boil_up: Sourced<f64>,
    /// The most slurry the pump brings to boil in time; `None` when only the bowl limits.
    pub pump: Option<CubicMillimetres>,
    /// How many flasks fit under the bell at once.
    pub flasks_under_bell: usize,
    /// Added for what stays in the bowl and is spilt.
    pub allowance: Sourced<Share>,
}

impl Bowl {
    /// A bowl under a bell with the usual rise and allowance.
    ///
    /// # Source
    /// Slurry doubles under vacuum, 5 % stays in the bowl: common practice, no source.
    #[must_use]
    pub fn usual(brimful: CubicMillimetres, flasks_under_bell: usize) -> Self {
        Self {
            brimful,
            boil_up: Sourced { value: 2.0, source: Source::CommonPractice },
            pump: None,
            flasks_under_bell,
            allowance: Sourced {
                value: Share::from_percent(5.0).unwrap_or(Share::NONE),
                source: Source::CommonPractice,
            },
        }
    }

    fn most_slurry_cm3(&self) -> Result<f64, InvestmentRefusal> {
        let rise = self.boil_up.value;
        let usable = self.brimful.cubic_centimetres() / rise;
        if !(rise >= 1.0 && rise.is_finite() && usable > 0.0 && self.flasks_under_bell > 0) {
            return Err(InvestmentRefusal::NoBowl);
        }
        Ok(self.pump.map_or(usable, |pump| usable.min(pump.cubic_centimetres())))
    }
}

/// One mix of powder and water.
#[derive(Debug, Clone, PartialEq)]
pub struct Mix {
    /// The flasks it fills, by their place in the list handed in.
    pub flasks: Vec<usize>,
    /// Slurry, with the allowance.
    pub slurry: CubicMillimetres,
    /// Powder to weigh, rounded up to a whole gram.
    pub powder: Grams,
    /// Water to measure, in grams, which are millilitres.
    pub water: Grams,
}

/// The slurry a flask takes: its inside less tree and channels, plus what stands in the collar.
///
/// # Refuses
/// A flask without room, or a tree larger than the flask.
pub fn slurry_volume(flask: &FlaskToFill) -> Result<Worked<CubicMillimetres>, InvestmentRefusal> {
    let name = || flask.name.chars().take(80).collect::<String>();
    let (diameter, height) = (flask.diameter.get(), flask.height.get());
    if diameter <= 0.0 || height <= 0.0 || flask.above_rim.get() < 0.0 {
        return Err(InvestmentRefusal::NoFlask { flask: name() });
    }
    let fill_height = height + flask.above_rim.get();
    let inside = CubicMillimetres::new(PI / 4.0 * diameter * diameter * fill_height)?;
    let taken = CubicMillimetres::new(flask.tree.get() + flask.channels.get())?;
    if taken >= inside {
        return Err(InvestmentRefusal::TreeFillsFlask {
            flask: name(),
            taken_cm3: taken.cubic_centimetres(),
            room_cm3: inside.cubic_centimetres(),
        });
    }
    let slurry = inside - taken;
    let mut working = Working::default();
    working.step(
        "π ÷ 4 × diameter² × (height + slurry above the rim) ÷ 1000",
        vec![
            Figure::real("inside diameter", diameter, "mm", Source::Entered),
            Figure::real("inside height", height, "mm", Source::Entered),
            Figure::real("slurry above the rim", flask.above_rim.get(), "mm", Source::Entered),
        ],
        Figure::real(
            format!("room in {}", flask.name),
            inside.cubic_centimetres(),
            "cm³",
            Source::Computed,
        ),
    );
    working.step(
        "room − tree − channels",
        vec![
            Figure::real("room", inside.cubic_centimetres(), "cm³", Source::Computed),
            Figure::real("tree", flask.tree.cubic_centimetres(), "cm³", Source::Entered),
            Figure::real("channels", flask.channels.cubic_centimetres(), "cm³", Source::Entered),
        ],
        Figure::real(
            format!("slurry for flask {}", flask.name),
            slurry.cubic_centimetres(),
            "cm³",
            Source::Computed,
        ),
    );
    Ok(Worked { value: slurry, working })
}

/// Powder and water for a volume of slurry.
///
/// One gram of powder makes 1/ρ + w/100 cubic centimetres of slurry, ρ the true density of its
/// grains and w the parts of water to 100. Powder is rounded up to a gram, the water follows it.
///
/// # Accuracy
/// The rule is exact for slurry without air; an error of 4 % in the true density moves the
/// powder by 2 %.
///
/// # Refuses
/// A powder density of zero, a missing ratio.
pub fn powder_and_water(
    slurry: CubicMillimetres,
    powder: &Powder,
    ratio: Option<WaterRatio>,
) -> Result<Worked<(Grams, Grams)>, InvestmentRefusal> {
    let ratio_source = ratio.map(Sourced::entered).or_else(|| powder.usual_ratio.clone());
    let Some(Sourced { value: ratio, source: ratio_source }) = ratio_source else {
        return Err(InvestmentRefusal::NoRatio { powder: powder.name.chars().take(80).collect() });
    };
    let density = powder.true_density.value.get();
    if density <= 0.0 {
        return Err(InvestmentRefusal::NoPowderDensity);
    }
    let cm3_per_gram = 1.0 / density + ratio.get();
    // A hair is taken off first, so that 160.0000000001 g is not rounded up to 161.
    let grams = Grams::new((slurry.cubic_centimetres() / cm3_per_gram - 1e-9).max(0.0).ceil())?;
    let water = grams * ratio.get();
    let mut working = Working::default();
    working.step(
        "1 ÷ true density of the powder + water ratio ÷ 100",
        vec![
            Figure::real("true density", density, "g/cm³", powder.true_density.source.clone()),
            Figure::real("water to 100 of powder", ratio.per_100(), "", ratio_source),
        ],
        Figure::real("slurry from a gram of powder", cm3_per_gram, "cm³", Source::Computed),
    );
    working.step(
        "slurry ÷ slurry from a gram, rounded up",
        vec![
            Figure::real("slurry", slurry.cubic_centimetres(), "cm³", Source::Computed),
            Figure::real("slurry from a gram of powder", cm3_per_gram, "cm³", Source::Computed),
        ],
        Figure::real("powder", grams.get(), "g", Source::Computed),
    );
    working.step(
        "powder × water ratio ÷ 100",
        vec![
            Figure::real("powder", grams.get(), "g", Source::Computed),
            Figure::real("water to 100 of powder", ratio.per_100(), "", Source::Entered),
        ],
        Figure::real("water", water.get(), "ml", Source::Computed),
    );
    if let Some(warning) = powder.ratio_warning(ratio) {
        working.warn(warning);
    }
    if powder.binder == Binder::Phosphate {
        working.warn("Phosphate-bonded investment takes the liquid, ratio and mixing time of its own data sheet.");
    }
    working.warn(SILICA_CAUTION);
    Ok(Worked { value: (grams, water), working })
}

/// The true density of a powder from a trial: weighed powder, measured water, measured slurry.
///
/// # Refuses
/// A trial whose slurry is no more than its water.
pub fn powder_density_from_trial(
    powder: Grams,
    water: Grams,
    slurry: CubicMillimetres,
) -> Result<Worked<GramsPerCubicCentimetre>, InvestmentRefusal> {
    let grains_cm3 = slurry.cubic_centimetres() - water.get();
    if grains_cm3 <= 0.0 || powder.get() <= 0.0 {
        return Err(InvestmentRefusal::ImpossibleTrial {
            slurry_ml: slurry.cubic_centimetres(),
            water_ml: water.get(),
        });
    }
    let density = GramsPerCubicCentimetre::new(powder.get() / grains_cm3)?;
    let mut working = Working::default();
    working.step(
        "powder ÷ (slurry − water)",
        vec![
            Figure::real("powder", powder.get(), "g", Source::MeasuredHere),
            Figure::real("slurry", slurry.cubic_centimetres(), "ml", Source::MeasuredHere),
            Figure::real("water", water.get(), "ml", Source::MeasuredHere),
        ],
        Figure::real("true density of the powder", density.get(), "g/cm³", Source::Computed),
    );
    Ok(Worked { value: density, working })
}

/// Shares flasks out over as few mixes as the bowl allows, and weighs each mix.
///
/// Largest flask first, into the first mix that still has room (first fit decreasing, never
/// more than 11/9 of the fewest mixes plus one).
///
/// # Source
/// Bound of first fit decreasing: D. S. Johnson, Near-optimal bin packing algorithms, 1973.
///
/// # Refuses
/// No flasks, a flask too large for the bowl, and what [`slurry_volume`] and
/// [`powder_and_water`] refuse.
pub fn mixes_for_flasks(
    flasks: &[FlaskToFill],
    powder: &Powder,
    ratio: Option<WaterRatio>,
    bowl: &Bowl,
) -> Result<Worked<Vec<Mix>>, InvestmentRefusal> {
    if flasks.is_empty() {
        return Err(InvestmentRefusal::NoFlasks);
    }
    let most_cm3 = bowl.most_slurry_cm3()?;
    let allowance = 1.0 + bowl.allowance.value.get();
    let mut working = Working::default();
    working.step(
        "brimful ÷ rise under vacuum, or what the pump can boil if less",
        vec![
            Figure::real("bowl", bowl.brimful.cubic_centimetres(), "cm³", Source::Entered),
            Figure::real(
                "rise under vacuum",
                bowl.boil_up.value,
                "times",
                bowl.boil_up.source.clone(),
            ),
        ],
        Figure::real("most slurry in one mix", most_cm3, "cm³", Source::Computed),
    );
    let mut needed_cm3 = Vec::new();
    for flask in flasks {
        let slurry = slurry_volume(flask)?;
        let needed = slurry.value.cubic_centimetres() * allowance;
        if needed > most_cm3 {
            return Err(InvestmentRefusal::TooLargeForBowl {
                flask: flask.name.chars().take(80).collect(),
                needed_cm3: needed,
                most_cm3,
            });
        }
        working.follow(slurry.working);
        needed_cm3.push(needed);
    }
    let mut value = Vec::new();
    for flask_numbers in first_fit_decreasing(&needed_cm3, most_cm3, bowl.flasks_under_bell) {
        let slurry_cm3: f64 = flask_numbers.iter().map(|&number| needed_cm3[number]).sum();
        let slurry = CubicMillimetres::new(slurry_cm3 * 1000.0)?;
        let names: Vec<&str> =
            flask_numbers.iter().map(|&number| flasks[number].name.as_ref()).collect();
        working.step(
            "sum of the slurry for the flasks × (1 + allowance)",
            vec![
                Figure::real(
                    "slurry for the flasks",
                    slurry_cm3 / allowance,
                    "cm³",
                    Source::Computed,
                ),
                Figure::real(
                    "allowance for bowl and spillage",
                    bowl.allowance.value.percent(),
                    "%",
                    bowl.allowance.source.clone(),
                ),
            ],
            Figure::real(
                format!("slurry of the mix for {}", names.join(", ")),
                slurry_cm3,
                "cm³",
                Source::Computed,
            ),
        );
        let weighed = powder_and_water(slurry, powder, ratio)?;
        let (powder_g, water) = weighed.value;
        working.follow(weighed.working);
        value.push(Mix { flasks: flask_numbers, slurry, powder: powder_g, water });
    }
    keep_each_warning_once(&mut working);
    Ok(Worked { value, working })
}

fn first_fit_decreasing(needed: &[f64], most: f64, most_flasks: usize) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..needed.len()).collect();
    order.sort_by(|&a, &b| needed[b].total_cmp(&needed[a]));
    let mut mixes: Vec<(f64, Vec<usize>)> = Vec::new();
    for flask in order {
        let room = mixes.iter().position(|(filled, members)| {
            members.len() < most_flasks && filled + needed[flask] <= most
        });
        match room {
            Some(at) => {
                mixes[at].0 += needed[flask];
                mixes[at].1.push(flask);
            }
            None => mixes.push((needed[flask], vec![flask])),
        }
    }
    mixes.into_iter().map(|(_, members)| members).collect()
}

fn keep_each_warning_once(working: &mut Working) {
    let mut seen = Vec::new();
    working.warnings.retain(|warning| {
        let new = !seen.contains(warning);
        if new {
            seen.push(warning.clone());
        }
        new
    });
}
