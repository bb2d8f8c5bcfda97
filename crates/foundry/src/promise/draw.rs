//! Drawing from distributions.

use crate::random::Random;

/// A number of the standard normal distribution.
///
/// # Source
/// G. Marsaglia and T. A. Bray, SIAM Review 6 (1964) 260, the polar method.
pub(super) fn normal(random: &mut Random) -> f64 {
    loop {
        let (u, v) = (2.0 * random.unit() - 1.0, 2.0 * random.unit() - 1.0);
        let square = u * u + v * v;
        if square > 0.0 && square < 1.0 {
            return u * (-2.0 * square.ln() / square).sqrt();
        }
    }
}

/// A number of the gamma distribution of a positive shape and scale one.
///
/// # Source
/// G. Marsaglia and W. W. Tsang, ACM Transactions on Mathematical Software 26 (2000) 363.
fn gamma(random: &mut Random, shape: f64) -> f64 {
    if shape < 1.0 {
        // Section 6: a shape below one by way of one above.
        let lift = (1.0 - random.unit()).powf(1.0 / shape);
        return gamma(random, shape + 1.0) * lift;
    }
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = normal(random);
        let v = (1.0 + c * x).powi(3);
        if v > 0.0 && (1.0 - random.unit()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v;
        }
    }
}

/// A share of the beta distribution.
pub(super) fn beta(random: &mut Random, good: f64, bad: f64) -> f64 {
    let (a, b) = (gamma(random, good), gamma(random, bad));
    if a + b > 0.0 { a / (a + b) } else { 0.5 }
}

/// How many of some tries succeed.
pub(super) fn binomial(random: &mut Random, tries: u32, share: f64) -> u32 {
    (0..tries).filter(|_| random.unit() < share).count() as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and variance of many draws.
    fn moments(mut one: impl FnMut() -> f64) -> (f64, f64) {
        let n = 200_000;
        let (mut sum, mut square) = (0.0, 0.0);
        for _ in 0..n {
            let x = one();
            sum += x;
            square += x * x;
        }
        let mean = sum / f64::from(n);
        (mean, square / f64::from(n) - mean * mean)
    }

    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let random = &mut Random::new(7);
        let (mean, variance) = moments(|| normal(random));
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.02, "{mean} {variance}");
        // Beta: mean a/(a+b), variance ab/((a+b)²(a+b+1)).
        for (a, b) in [(0.5, 0.5), (9.0, 1.0), (46.2, 3.8)] {
            let (mean, variance) = moments(|| beta(random, a, b));
            let n: f64 = a + b;
            assert!((mean - a / n).abs() < 0.003, "{a} {b}: {mean}");
            assert!((variance - a * b / (n * n * (n + 1.0))).abs() < 0.002, "{a} {b}: {variance}");
        }
        let (mean, variance) = moments(|| f64::from(binomial(random, 20, 0.3)));
        assert!((mean - 6.0).abs() < 0.03 && (variance - 4.2).abs() < 0.06, "{mean} {variance}");
    }
}
