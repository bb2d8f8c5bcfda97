//! Flasks shared out over mixes. No SQL, no clock.

use std::borrow::Cow;

use foundry::investment::{
    Binder, Bowl, FlaskToFill, InvestmentRefusal, Mix, WaterRatio, gypsum_bonded, mixes_for_flasks,
    phosphate_bonded,
};
use foundry::quantity::{CubicMillimetres, Millimetres, Share};
use foundry::source::Sourced;
use foundry::working::Working;
use sqlx::FromRow;

use crate::id::{FlaskId, InvestmentId};

/// A flask whose tree is weighed.
#[derive(Clone, Debug, FromRow)]
pub(super) struct ToFill {
    pub(super) id: FlaskId,
    pub(super) number: i32,
    pub(super) version: i64,
    pub(super) alloy: String,
    pub(super) investment_id: InvestmentId,
    pub(super) investment: String,
    pub(super) kind: String,
    pub(super) water_per_100: f64,
    pub(super) diameter_mm: i32,
    pub(super) wall_mm: f64,
    pub(super) height_mm: i32,
    pub(super) tree_cm3: f64,
    pub(super) collar_mm: f64,
    pub(super) channels_cm3: f64,
    pub(super) powder_g: f64,
    pub(super) water_g: f64,
}

/// Bowl, bell and pump.
#[derive(Clone, Copy, Debug, PartialEq, FromRow)]
pub(super) struct BowlRow {
    pub(super) brimful_cm3: f64,
    pub(super) boil_up: f64,
    pub(super) pump_cm3: Option<f64>,
    pub(super) flasks_under_bell: i32,
    pub(super) allowance_percent: f64,
}

/// The flasks of one investment.
pub(super) struct Group {
    pub(super) investment_id: InvestmentId,
    pub(super) investment: String,
    pub(super) flasks: Vec<ToFill>,
    pub(super) mixes: Result<Mixes, String>,
}

/// The mixes of a group, their flasks by their place in it.
pub(super) struct Mixes {
    pub(super) mixes: Vec<Mix>,
    pub(super) working: Working,
}

impl BowlRow {
    fn bowl(&self) -> Result<Bowl, InvestmentRefusal> {
        let cm3 = |cm3: f64| CubicMillimetres::new(cm3 * 1000.0);
        let usual = Bowl::usual(
            cm3(self.brimful_cm3)?,
            usize::try_from(self.flasks_under_bell).unwrap_or(1),
        );
        Ok(Bowl {
            boil_up: Sourced::entered(self.boil_up),
            pump: self.pump_cm3.map(cm3).transpose()?,
            allowance: Sourced::entered(Share::from_percent(self.allowance_percent)?),
            ..usual
        })
    }
}

impl ToFill {
    fn to_fill(&self) -> Result<FlaskToFill, InvestmentRefusal> {
        Ok(FlaskToFill {
            name: Cow::Owned(self.number.to_string()),
            diameter: Millimetres::new(f64::from(self.diameter_mm) - 2.0 * self.wall_mm)?,
            height: Millimetres::new(f64::from(self.height_mm))?,
            tree: CubicMillimetres::new(self.tree_cm3 * 1000.0)?,
            channels: CubicMillimetres::new(self.channels_cm3 * 1000.0)?,
            above_rim: Millimetres::new(self.collar_mm)?,
        })
    }
}

/// Shares flasks of one investment out over as few mixes as bowl and pump allow.
pub(super) fn share_out(flasks: &[ToFill], bowl: &BowlRow) -> Result<Mixes, InvestmentRefusal> {
    let Some(first) = flasks.first() else { return Err(InvestmentRefusal::NoFlasks) };
    let (binder, powder) = if first.kind == "phosphate" {
        (Binder::Phosphate, phosphate_bonded())
    } else {
        (Binder::Gypsum, gypsum_bonded())
    };
    let ratio = WaterRatio::new(first.water_per_100, binder)?;
    let to_fill = flasks.iter().map(ToFill::to_fill).collect::<Result<Vec<_>, _>>()?;
    let shared = mixes_for_flasks(&to_fill, &powder, Some(ratio), &bowl.bowl()?)?;
    Ok(Mixes { mixes: shared.value, working: shared.working })
}

/// Groups flasks by their investment and shares each group out.
pub(super) fn groups(flasks: Vec<ToFill>, bowl: &BowlRow) -> Vec<Group> {
    let mut groups: Vec<(InvestmentId, Vec<ToFill>)> = Vec::new();
    for flask in flasks {
        match groups.iter_mut().find(|(investment, _)| *investment == flask.investment_id) {
            Some((_, group)) => group.push(flask),
            None => groups.push((flask.investment_id, vec![flask])),
        }
    }
    groups
        .into_iter()
        .map(|(investment_id, flasks)| Group {
            investment_id,
            investment: flasks.first().map(|one| one.investment.clone()).unwrap_or_default(),
            mixes: share_out(&flasks, bowl).map_err(|why| why.to_string()),
            flasks,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;

    fn flask(number: i32) -> ToFill {
        ToFill {
            id: FlaskId::new(),
            number,
            version: 1,
            alloy: String::new(),
            investment_id: InvestmentId(uuid::Uuid::nil()),
            investment: String::new(),
            kind: "gypsum".to_owned(),
            water_per_100: 40.0,
            diameter_mm: 84,
            wall_mm: 2.0,
            height_mm: 120,
            tree_cm3: 30.0,
            collar_mm: 0.0,
            channels_cm3: 0.0,
            powder_g: 1.0,
            water_g: 1.0,
        }
    }

    const BOWL: BowlRow = BowlRow {
        brimful_cm3: 3000.0,
        boil_up: 2.0,
        pump_cm3: None,
        flasks_under_bell: 4,
        allowance_percent: 5.0,
    };

    #[test]
    fn two_flasks_share_a_bowl_and_a_third_needs_another() {
        // By hand: π/4 × 8² × 12 − 30 = 573.19 cm³ each, with 5 % 601.8; the bowl takes 1500.
        let shared = share_out(&[flask(1), flask(2), flask(3)], &BOWL).unwrap();
        assert_eq!(shared.mixes.len(), 2);
        assert_eq!(shared.mixes[0].flasks.len(), 2);
        let of_two = shared.mixes[0].slurry.cubic_centimetres();
        assert!((of_two - 2.0 * 573.186 * 1.05).abs() < 0.1, "{of_two}");
        // 1 g makes 1/2.5 + 0.4 = 0.8 cm³.
        assert!((shared.mixes[0].powder.get() - of_two / 0.8).abs() <= 1.0);
    }

    #[test]
    fn a_flask_too_large_for_the_bowl_is_named() {
        let small = BowlRow { brimful_cm3: 500.0, ..BOWL };
        let refusal = share_out(&[flask(7)], &small).err().unwrap();
        assert!(refusal.to_string().contains("flask 7 needs"), "{refusal}");
    }

    #[test]
    fn channels_and_collar_change_the_slurry() {
        let alone = share_out(&[flask(1)], &BOWL).unwrap().mixes[0].slurry;
        let wider = ToFill { channels_cm3: 20.0, collar_mm: 10.0, ..flask(1) };
        let with = share_out(&[wider], &BOWL).unwrap().mixes[0].slurry;
        // By hand: 10 mm more of 50.265 cm² are 50.27 cm³, less 20 cm³, and 5 % on it.
        let more = with.cubic_centimetres() - alone.cubic_centimetres();
        assert!((more - 30.265 * 1.05).abs() < 0.05, "{more}");
    }
}
