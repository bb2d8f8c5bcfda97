//! What a flask may do next, and what its weights come to. No SQL, no clock.

use std::borrow::Cow;

use foundry::investment::{Binder, FlaskToFill, InvestmentRefusal, Powder, WaterRatio};
use foundry::metal::{
    Alloy, Button, Charge, ChargeInput, Composition, Density, Element, Family, MetalOnTree,
    MetalRefusal,
};
use foundry::quantity::{
    CubicMillimetres, Grams, GramsPerCubicCentimetre, Millimetres, QuantityRefusal, Share,
};
use foundry::source::{Source, Sourced};
use foundry::working::{Worked, Working};

use crate::pieces::Stage;
use crate::web::Refused;

/// How far a flask has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum FlaskState {
    /// Pieces are being put on its tree.
    Treeing,
    /// The tree is weighed; charge, powder and water are known.
    Weighed,
    /// The mixing clock runs.
    Mixing,
    /// Filled and left to set.
    Setting,
    /// In a kiln, being burnt out.
    InKiln,
    /// Burnt out and held at its casting temperature.
    Hot,
    /// Poured, cooling or waiting to be divested.
    Poured,
    /// Divested; its pieces are cut off.
    Divested,
    /// Given up.
    Cancelled,
}

impl FlaskState {
    /// The word kept in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Treeing => "treeing",
            Self::Weighed => "weighed",
            Self::Mixing => "mixing",
            Self::Setting => "setting",
            Self::InKiln => "in_kiln",
            Self::Hot => "hot",
            Self::Poured => "poured",
            Self::Divested => "divested",
            Self::Cancelled => "cancelled",
        }
    }

    /// The stage at which its pieces fail when it is lost; none when it cannot be lost now.
    #[must_use]
    pub const fn stage_if_lost(self) -> Option<Stage> {
        match self {
            Self::Mixing | Self::Setting => Some(Stage::Invest),
            Self::InKiln => Some(Stage::Burnout),
            Self::Hot => Some(Stage::Cast),
            _ => None,
        }
    }

    /// What a person reads.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Treeing => "being treed",
            Self::Weighed => "tree weighed",
            Self::Mixing => "being invested",
            Self::Setting => "bench set",
            Self::InKiln => "in the kiln",
            Self::Hot => "hot, ready to pour",
            Self::Poured => "poured",
            Self::Divested => "divested",
            Self::Cancelled => "given up",
        }
    }
}

/// Why a flask cannot do what was asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FlaskRefusal {
    /// It has moved on, or has not come so far.
    #[error("Flask {number} is {words}, so this cannot be done now. Nothing was changed.")]
    NotNow {
        /// Which flask.
        number: i32,
        /// Its state in words.
        words: &'static str,
    },
    /// A tree without pieces.
    #[error("There is no piece on the tree of flask {number}. Put one on it first.")]
    NoPieces {
        /// Which flask.
        number: i32,
    },
    /// Pieces of another alloy.
    #[error(
        "Piece {label} is to be cast in {its}, and this flask in {ours}. One alloy a flask; choose another flask for it."
    )]
    OtherAlloy {
        /// Which piece.
        label: String,
        /// Its alloy.
        its: String,
        /// The flask's.
        ours: String,
    },
    /// The tree does not weigh what a tree weighs.
    #[error("The tree has to weigh more than its base; check both weights.")]
    NoTree,
    /// The metal does not work out.
    #[error("{0}")]
    Metal(#[from] MetalRefusal),
    /// The investment does not work out.
    #[error("{0}")]
    Investment(#[from] InvestmentRefusal),
    /// A number out of its range.
    #[error("{0}")]
    Quantity(#[from] QuantityRefusal),
}

impl From<FlaskRefusal> for Refused {
    fn from(refusal: FlaskRefusal) -> Self {
        match refusal {
            FlaskRefusal::NoTree | FlaskRefusal::Metal(_) => {
                Self::input("tree_mass_g", refusal.to_string())
            }
            FlaskRefusal::Investment(_) | FlaskRefusal::Quantity(_) => {
                Self::input("", refusal.to_string())
            }
            _ => Self::conflict(refusal.to_string()),
        }
    }
}

/// What is weighed and known when a tree is ready.
#[derive(Clone, Debug)]
pub struct Weights {
    /// The flask's number.
    pub number: i32,
    /// Tree with its base.
    pub tree_mass_g: f64,
    /// The base alone.
    pub base_mass_g: f64,
    /// Density of the pattern.
    pub pattern_density_g_cm3: f64,
    /// Density of the alloy.
    pub alloy_density_g_cm3: f64,
    /// The alloy's name.
    pub alloy_name: String,
    /// Where the alloy's density comes from.
    pub alloy_source: String,
    /// The button as a share of what is on the tree.
    pub button_share: f64,
    /// Share lost in melting.
    pub loss: f64,
    /// Least share of fresh metal.
    pub least_fresh: f64,
    /// Returns of the alloy in stock.
    pub returns_cg: i64,
    /// Inside diameter of the flask.
    pub inside_diameter_mm: f64,
    /// Its height.
    pub height_mm: f64,
    /// Slurry above the rim.
    pub collar_mm: f64,
    /// Volume of what keeps vacuum channels open.
    pub channels_cm3: f64,
    /// `gypsum` or `phosphate`.
    pub investment_kind: String,
    /// Parts of water to 100 of powder.
    pub water_per_100: f64,
}

/// What the weights come to.
#[derive(Clone, Debug)]
pub struct WorkedOut {
    /// The charge.
    pub charge: Charge,
    /// How it was reached.
    pub charge_working: Working,
    /// Powder.
    pub powder: Grams,
    /// Water.
    pub water: Grams,
    /// How both were reached.
    pub investment_working: Working,
}

/// Works out charge, powder and water of a flask whose tree was weighed.
pub fn work_out(weights: &Weights) -> Result<WorkedOut, FlaskRefusal> {
    if weights.tree_mass_g <= weights.base_mass_g {
        return Err(FlaskRefusal::NoTree);
    }
    let density = |value: f64, source: Source| -> Result<Density, FlaskRefusal> {
        Ok(Density { value: GramsPerCubicCentimetre::new(value)?, tolerance: Share::NONE, source })
    };
    let told = Source::Assumed(Cow::Owned(weights.alloy_source.clone()));
    let alloy = Alloy {
        key: Cow::Borrowed("studio"),
        name: Cow::Owned(weights.alloy_name.clone()),
        family: Family::Other,
        composition: Sourced::entered(Composition::pure(Element::ALL[0])),
        density: Some(density(
            weights.alloy_density_g_cm3,
            if weights.alloy_source.is_empty() { Source::Entered } else { told },
        )?),
        solidus: None,
        liquidus: None,
        casting: None,
        flask: None,
        contraction: None,
        cautions: Vec::new(),
    };
    let pattern = density(weights.pattern_density_g_cm3, Source::Entered)?;
    let Worked { value: charge, working: charge_working } = foundry::metal::charge(&ChargeInput {
        alloy: &alloy,
        tree: MetalOnTree::Weighed {
            with_base: Grams::new(weights.tree_mass_g)?,
            base: Grams::new(weights.base_mass_g)?,
            pattern_density: pattern.clone(),
        },
        button: Button::ShareOfTree(Share::new(weights.button_share)?),
        loss: Sourced::entered(Share::new(weights.loss)?),
        least_fresh: Share::new(weights.least_fresh)?,
        returns_at_hand: Some(foundry::quantity::Centigrams(weights.returns_cg.max(0))),
    })?;
    let tree_volume = Grams::new(weights.tree_mass_g - weights.base_mass_g)? / pattern.value;
    let (binder, powder) = if weights.investment_kind == "phosphate" {
        (Binder::Phosphate, foundry::investment::phosphate_bonded())
    } else {
        (Binder::Gypsum, foundry::investment::gypsum_bonded())
    };
    let (powder, water, investment_working) = mix(weights, tree_volume, binder, &powder)?;
    Ok(WorkedOut { charge, charge_working, powder, water, investment_working })
}

fn mix(
    weights: &Weights,
    tree: CubicMillimetres,
    binder: Binder,
    powder: &Powder,
) -> Result<(Grams, Grams, Working), FlaskRefusal> {
    let slurry = foundry::investment::slurry_volume(&FlaskToFill {
        name: Cow::Owned(format!("flask {}", weights.number)),
        diameter: Millimetres::new(weights.inside_diameter_mm)?,
        height: Millimetres::new(weights.height_mm)?,
        tree,
        channels: CubicMillimetres::new(weights.channels_cm3 * 1000.0)?,
        above_rim: Millimetres::new(weights.collar_mm)?,
    })?;
    let ratio = WaterRatio::new(weights.water_per_100, binder)?;
    let mixed = foundry::investment::powder_and_water(slurry.value, powder, Some(ratio))?;
    let mut working = slurry.working;
    working.follow(mixed.working);
    Ok((mixed.value.0, mixed.value.1, working))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weights() -> Weights {
        Weights {
            number: 201,
            tree_mass_g: 42.0,
            base_mass_g: 12.0,
            pattern_density_g_cm3: 1.2,
            alloy_density_g_cm3: 10.4,
            alloy_name: "Sterling silver".to_owned(),
            alloy_source: String::new(),
            button_share: 0.1,
            loss: 0.0,
            least_fresh: 0.5,
            returns_cg: 100_000,
            inside_diameter_mm: 80.0,
            height_mm: 100.0,
            collar_mm: 0.0,
            channels_cm3: 0.0,
            investment_kind: "gypsum".to_owned(),
            water_per_100: 40.0,
        }
    }

    #[test]
    fn thirty_grams_of_resin_at_1_2_become_260_grams_of_silver_and_a_button() {
        // 30 g / 1.2 g/cm³ = 25 cm³; 25 cm³ × 10.4 g/cm³ = 260 g; and a tenth for the button.
        let out = work_out(&weights()).unwrap();
        assert_eq!(out.charge.total.0, 28_600);
        assert_eq!(out.charge.fresh.0 + out.charge.returns.0, 28_600);
        assert!((out.water.get() / out.powder.get() - 0.4).abs() < 0.005);
    }

    #[test]
    fn a_tree_lighter_than_its_base_is_refused_at_its_field() {
        let refusal = work_out(&Weights { tree_mass_g: 11.0, ..weights() }).unwrap_err();
        assert_eq!(Refused::from(refusal).field, Some("tree_mass_g"));
    }

    #[test]
    fn a_tree_larger_than_its_flask_is_refused() {
        let heavy = Weights { tree_mass_g: 900.0, ..weights() };
        assert!(matches!(work_out(&heavy), Err(FlaskRefusal::Investment(_))));
    }
}
