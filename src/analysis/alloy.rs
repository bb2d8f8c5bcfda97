//! What an analysis needs to know of an alloy.

use foundry::fill::{LiquidMetal, liquid_metal};
use foundry::freeze::{Conditions, MetalHeat, Spread, heat_of};
use foundry::metal::Family;
use foundry::source::Source;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use crate::id::AlloyId;

/// An alloy of the studio.
#[derive(Clone, Debug, PartialEq, FromRow, Serialize, Deserialize)]
pub struct CastAlloy {
    /// Which.
    pub id: AlloyId,
    /// Its name.
    pub name: String,
    /// The metal it is mostly made of.
    pub family: String,
    /// Temperature at which its last liquid freezes.
    pub solidus_c: Option<f64>,
    /// Temperature at which its first solid forms.
    pub liquidus_c: Option<f64>,
    /// Temperature at which it is poured.
    pub melt_c: f64,
    /// Temperature of the flask.
    pub flask_c: f64,
    /// How much a casting of it contracts, as a share of its length.
    #[serde(default)]
    pub shrinkage: f64,
}

/// Data of another metal that stand in for those of an alloy are taken to be off by this share.
const STANDING_IN: f64 = 0.15;

impl CastAlloy {
    /// Its heat data, and which alloy's stand in for it; none where there are none to lean on.
    #[must_use]
    pub fn heat(&self) -> Option<(MetalHeat, Option<String>)> {
        if let Ok(known) = heat_of(&self.name) {
            return Some((self.with_own_range(known), None));
        }
        let like = match self.family.as_str() {
            "silver" if self.solidus_c.is_some() && self.solidus_c == self.liquidus_c => {
                "fine silver"
            }
            "silver" => "sterling silver",
            "gold" => "14k yellow",
            "copper" => "silicon bronze",
            _ => return None,
        };
        let mut heat = self.with_own_range(heat_of(like).ok()?);
        for spread in [
            &mut heat.density_kg_m3,
            &mut heat.latent_kj_kg,
            &mut heat.solid_j_kgk,
            &mut heat.liquid_j_kgk,
            &mut heat.solid_w_mk,
            &mut heat.liquid_w_mk,
        ] {
            spread.low *= 1.0 - STANDING_IN;
            spread.high *= 1.0 + STANDING_IN;
        }
        Some((heat, Some(like.to_owned())))
    }

    fn with_own_range(&self, mut heat: MetalHeat) -> MetalHeat {
        if let (Some(solidus), Some(liquidus)) = (self.solidus_c, self.liquidus_c) {
            let own = |celsius: f64| Spread::new(celsius, celsius, celsius, Source::Entered);
            (heat.solidus_c, heat.liquidus_c) = (own(solidus), own(liquidus));
            // The lever rule needs the main metal to melt above the alloy.
            heat.solvent_melts_c = heat.solvent_melts_c.filter(|&melts| melts > liquidus + 1.0);
        }
        heat
    }

    /// How it is poured: its own temperatures unless others are given.
    #[must_use]
    pub fn conditions(&self, pour_c: f64, flask_c: f64) -> Option<(Conditions, Option<String>)> {
        let (heat, stands_in) = self.heat()?;
        Some((Conditions { pour_c, flask_c, ..Conditions::usual(heat) }, stands_in))
    }

    /// What is known of its liquid.
    #[must_use]
    pub fn liquid(&self) -> Option<LiquidMetal> {
        liquid_metal(match self.family.as_str() {
            "silver" => Family::Silver,
            "gold" => Family::Gold,
            "copper" => Family::SiliconBronze,
            "platinum" => Family::Platinum,
            "palladium" => Family::Palladium,
            _ => Family::Other,
        })
    }
}
