//! Heat drawn by mould that was suddenly made hot on one side.

/// How much better heat passes from the metal's face to the first mould centre
/// than by a straight fall of temperature, while the warm skin is thinner
/// than that distance: η·2/(√π·erf η), η the distance over 2√(αt), from the
/// solution for a half space whose face is suddenly hot.
pub(super) fn skin_factor(eta: f64) -> f64 {
    if eta < 0.02 {
        return 1.0 + eta * eta / 3.0;
    }
    2.0 * eta / (std::f64::consts::PI.sqrt() * erf(eta))
}

/// Error function for positive numbers, within 1.5e-7 (M. Abramowitz and
/// I. A. Stegun, Handbook of Mathematical Functions, 1964, formula 7.1.26).
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let series = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    1.0 - series * (-x * x).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_function_and_the_skin_agree_with_tables() {
        // NIST Digital Library of Mathematical Functions, table of erf.
        for (x, value) in [(0.1, 0.1124629), (0.5, 0.5204999), (1.0, 0.8427008), (2.0, 0.9953223)] {
            assert!((erf(x) - value).abs() < 2e-7);
        }
        assert!((skin_factor(0.0) - 1.0).abs() < 1e-12);
        assert!((skin_factor(0.02) - skin_factor(0.019_999_9)).abs() < 2e-5);
        assert!((skin_factor(3.0) - 6.0 / std::f64::consts::PI.sqrt()).abs() < 1e-4);
    }
}
