//! How many spare copies an order needs when some of them fail.

use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::YieldRefusal;

/// More pieces than this are not worked out one by one.
const MOST_MADE: u32 = 2000;

/// The chance that at least so many of the pieces made come out good, each by itself.
///
/// The sum of the binomial probabilities, in logarithms so that large numbers stay exact enough.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.6.18, binomial distribution.
///
/// # Accuracy
/// About 1e-10. Pieces of one flask fail together more often than this assumes.
///
/// # Refuses
/// More than 2000 pieces, a yield that is not between 0 and 1.
pub fn chance_of_enough(
    needed: u32,
    made: u32,
    good_share: f64,
) -> Result<Worked<f64>, YieldRefusal> {
    if made > MOST_MADE {
        return Err(YieldRefusal::TooMany { pieces: made.into(), most: MOST_MADE.into() });
    }
    if !(0.0..=1.0).contains(&good_share) {
        return Err(YieldRefusal::NotFinite { at: 1 });
    }
    let chance = if needed > made {
        0.0
    } else if good_share <= 0.0 {
        f64::from(u8::from(needed == 0))
    } else if good_share >= 1.0 {
        1.0
    } else {
        let (good, bad) = (good_share.ln(), (-good_share).ln_1p());
        let mut log_choose = 0.0;
        let mut sum = 0.0;
        for failed in 0..=(made - needed) {
            if failed > 0 {
                log_choose += (f64::from(made - failed + 1) / f64::from(failed)).ln();
            }
            sum += (log_choose + f64::from(made - failed) * good + f64::from(failed) * bad).exp();
        }
        sum.min(1.0)
    };
    let mut working = Working::default();
    working.step(
        "sum over the failed, from none to made − needed, of C(made, failed) · yield^(made − failed) · (1 − yield)^failed",
        vec![
            Figure::count("needed", needed.into(), "pieces", Source::Entered),
            Figure::count("made", made.into(), "pieces", Source::Entered),
            Figure::real("yield of one attempt", good_share, "", Source::MeasuredHere),
        ],
        Figure::real(
            "chance that there are enough",
            chance,
            "",
            Source::Published("NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.6.18".into()),
        ),
    );
    working.warn("Pieces of one flask fail together more often than chance says.");
    Ok(Worked { value: chance, working })
}
