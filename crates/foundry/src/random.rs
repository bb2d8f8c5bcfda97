//! Random numbers from a seed, the same on every machine.

/// A generator of random numbers (SplitMix64).
///
/// # Source
/// Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, figure 14.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    /// A generator that always gives the same numbers for the same seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 random bits.
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number from 0 to `count` without `count`; 0 when there is nothing to choose.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        // The high half of a product: even to within count / 2^64.
        ((u128::from(self.bits()) * count as u128) >> 64) as usize
    }

    /// A number from 0 to 1, without 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }
}
