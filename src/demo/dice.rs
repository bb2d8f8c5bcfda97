//! A small sequence of numbers that is always the same: no two flasks lose alike, and every demo
//! is made alike.

use std::sync::atomic::{AtomicU64, Ordering};

/// The splitmix64 generator (Steele, Lea, Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014, figure 17).
pub(super) struct Dice(AtomicU64);

const STEP: u64 = 0x9e37_79b9_7f4a_7c15;

impl Dice {
    pub(super) const fn new(seed: u64) -> Self {
        Self(AtomicU64::new(seed))
    }

    /// The next number, from 0 to 1.
    fn next(&self) -> f64 {
        let z = self.0.fetch_add(STEP, Ordering::Relaxed).wrapping_add(STEP);
        let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        // The upper 53 bits, as many as a float holds.
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Anything between two ends, none of it likelier.
    pub(super) fn between(&self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.next()
    }

    /// Mostly near the middle, and never farther from it than `reach`.
    pub(super) fn about(&self, middle: f64, reach: f64) -> f64 {
        middle + reach * (self.next() + self.next() + self.next() - 1.5) / 1.5
    }

    /// True once in so many times.
    pub(super) fn one_in(&self, times: f64) -> bool {
        self.next() * times < 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sequence_is_the_published_one_and_stays_within_its_ends() {
        // The reference implementation of splitmix64 begins with seed 0 like this.
        let dice = Dice::new(0);
        let first = 0xe220_a839_7b1d_cdaf_u64 >> 11;
        assert_eq!(dice.between(0.0, 1.0), first as f64 / (1_u64 << 53) as f64);
        for _ in 0..1000 {
            assert!((2.0..=3.0).contains(&dice.between(2.0, 3.0)));
            assert!((4.0..=6.0).contains(&dice.about(5.0, 1.0)));
        }
        assert!((0..600).filter(|_| dice.one_in(3.0)).count().abs_diff(200) < 60);
    }
}
