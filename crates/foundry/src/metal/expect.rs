//! What a scale may be expected to show, from what is known beforehand.
//!
//! A weight outside is not impossible, only unlikely enough to ask: a comma in the wrong place, the
//! wrong scale, the wrong flask. Every limit here is common practice, no source; they are wide, so
//! that a right weight is hardly ever asked about.

use crate::quantity::{CubicMillimetres, Grams, GramsPerCubicCentimetre, Share};

/// A tree weighs at least this share of its models alone: the sprue comes on top of them, so only
/// scales, hollow prints and the density of the pattern can make it less.
pub const TREE_LEAST: f64 = 0.85;
/// A tree weighs at most so many times its models: sprue and runners of small pieces outweigh them.
pub const TREE_MOST: f64 = 10.0;
/// Beyond that, so much for the main sprue, which a tree of a single light piece needs too.
pub const TREE_SPRUE_G: f64 = 30.0;
/// A pour is at least this share of the worked-out charge: below it the button is gone and the
/// mould does not fill.
pub const POUR_LEAST: f64 = 0.8;
/// A pour is at most so many times the charge: what was weighed out is rounded up, not doubled.
pub const POUR_MOST: f64 = 1.25;
/// From this share of a charge on, what is neither castings nor returns is no melting loss any
/// more: something was not put on the scale.
pub const LOSS_MOST: f64 = 0.1;
/// Castings and single pieces weigh at least this share of their models once they are cut off.
pub const RAW_LEAST: f64 = 0.7;
/// And at most so many times: stubs of sprue, fins, a model scaled up against shrinkage.
pub const RAW_MOST: f64 = 2.0;
/// Beyond that, so much for the stub of a sprue on a very light piece.
pub const RAW_STUB_G: f64 = 2.0;
/// A finished piece weighs at least this share of its model: filing and polishing take less.
pub const FINISHED_LEAST: f64 = 0.5;
/// And at most so many times: what was soldered on or never filed off.
pub const FINISHED_MOST: f64 = 1.5;

/// What is expected, and between which weights nobody needs to be asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// The weight that would surprise nobody.
    pub about: Grams,
    /// The least that is taken without asking.
    pub least: Grams,
    /// The most that is taken without asking.
    pub most: Grams,
}

impl Expected {
    /// Whether a weight is taken without asking. A centigram either way is the scale's.
    #[must_use]
    pub fn allows(&self, weighed: Grams) -> bool {
        let scale = Grams::of(0.01);
        weighed + scale >= self.least && weighed <= self.most + scale
    }
}

/// A tree without its base, from the volume of the models on it and the density of the pattern.
#[must_use]
pub fn expected_tree(models: CubicMillimetres, pattern: GramsPerCubicCentimetre) -> Expected {
    let about = models * pattern;
    Expected { about, least: about * TREE_LEAST, most: about * TREE_MOST + Grams::of(TREE_SPRUE_G) }
}

/// What is poured, from the charge that was worked out.
#[must_use]
pub fn expected_pour(charge: Grams) -> Expected {
    Expected { about: charge, least: charge * POUR_LEAST, most: charge * POUR_MOST }
}

/// Castings as they are cut off, together or one by one, from what their models weigh in the
/// alloy; never more than was poured, where that is known.
#[must_use]
pub fn expected_castings(models: Grams, poured: Option<Grams>) -> Expected {
    let most = models * RAW_MOST + Grams::of(RAW_STUB_G);
    let most = poured.map_or(most, |poured| most.min(poured));
    Expected { about: models, least: models * RAW_LEAST, most }
}

/// A finished piece, from what its model weighs in the alloy.
#[must_use]
pub fn expected_finished(model: Grams) -> Expected {
    Expected { about: model, least: model * FINISHED_LEAST, most: model * FINISHED_MOST }
}

/// The share of a pour that is neither castings nor returns, when it is more than melting takes.
#[must_use]
pub fn unlikely_loss(poured: Grams, castings: Grams, returns: Grams) -> Option<Share> {
    let missing = poured.get() - castings.get() - returns.get();
    let share = Share::new(missing / poured.get()).ok()?;
    (share.get() >= LOSS_MOST).then_some(share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_gram_of_tree_for_six_of_models_is_asked_about() {
        // Ten models that need 6.4 g of pattern: 5.77 cm³ at 1.11 g/cm³, as multiplied by hand.
        let tree = expected_tree(CubicMillimetres::of(5_770.0), GramsPerCubicCentimetre::of(1.11));
        assert!((tree.about.get() - 6.4047).abs() < 1e-3);
        assert!(!tree.allows(Grams::of(1.0)), "1 g");
        assert!(tree.allows(Grams::of(9.2)) && tree.allows(Grams::of(6.4)));
        assert!(!tree.allows(Grams::of(235.0)), "the comma is one place off");
    }

    #[test]
    fn ten_grams_of_a_charge_of_seventy_two_are_asked_about() {
        let pour = expected_pour(Grams::of(72.32));
        assert!(!pour.allows(Grams::of(10.0)) && !pour.allows(Grams::of(720.0)));
        assert!(pour.allows(Grams::of(72.32)) && pour.allows(Grams::of(75.0)));
        assert!(pour.allows(Grams::of(60.0)) && !pour.allows(Grams::of(50.0)));
    }

    #[test]
    fn a_signet_of_fourteen_grams_does_not_weigh_five_hundred() {
        let signet = expected_castings(Grams::of(13.78), Some(Grams::of(61.5)));
        assert!(!signet.allows(Grams::of(500.0)) && !signet.allows(Grams::of(1.4)));
        assert!(signet.allows(Grams::of(15.2)) && signet.allows(Grams::of(12.9)));
        // Never more than was poured, however many the models are.
        let all = expected_castings(Grams::of(50.0), Some(Grams::of(61.5)));
        assert!(!all.allows(Grams::of(62.0)));
        assert!(!expected_finished(Grams::of(13.78)).allows(Grams::of(1.2)));
        assert!(expected_finished(Grams::of(13.78)).allows(Grams::of(11.9)));
    }

    #[test]
    fn a_tenth_missing_is_no_melting_loss() {
        let loss = |castings, returns| {
            unlikely_loss(Grams::of(100.0), Grams::of(castings), Grams::of(returns))
        };
        assert_eq!(loss(40.0, 59.0), None);
        assert!((loss(40.0, 24.0).unwrap().get() - 0.36).abs() < 1e-9);
        assert!(loss(40.0, 50.0).is_some() && loss(40.0, 50.1).is_none());
        assert_eq!(unlikely_loss(Grams::of(0.0), Grams::of(0.0), Grams::of(0.0)), None);
    }
}
