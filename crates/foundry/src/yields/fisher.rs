//! Fisher's exact test of two by two counts.

use super::{Tally, YieldRefusal};

/// The probabilities of Fisher's exact test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fisher {
    /// Of a table no likelier than the one seen.
    pub two_sided: f64,
    /// Of at least as many good ones in the first group.
    pub greater: f64,
    /// Of at most as many good ones in the first group.
    pub less: f64,
}

/// More pieces than this are refused.
const MOST_PIECES: u64 = 1_000_000;
/// Two tables whose probabilities differ by less than this share count as equally likely.
const TIE: f64 = 1e-7;

/// Fisher's exact test: how likely is a difference at least this great if there is none.
///
/// Two-sided means the sum over all tables that are no likelier than the one seen; doubling the
/// one-sided value would be another rule.
///
/// # Source
/// R. A. Fisher, The Design of Experiments, 1935, chapter II.
///
/// # Accuracy
/// Probabilities follow from exact ratios of neighbouring tables; 1e-9 against an outside
/// program.
///
/// # Refuses
/// An empty group, or more than a million pieces.
pub fn fisher_exact(first: Tally, second: Tally) -> Result<Fisher, YieldRefusal> {
    if first.total() == 0 || second.total() == 0 {
        return Err(YieldRefusal::NoPieces);
    }
    let pieces = first.total() + second.total();
    if pieces > MOST_PIECES {
        return Err(YieldRefusal::TooMany { pieces, most: MOST_PIECES });
    }
    let good = u64::from(first.good) + u64::from(second.good);
    let tables = Tables::new(first.total(), second.total(), good);
    Ok(tables.test(u64::from(first.good)))
}

/// All tables with the same margins, by the good ones of the first group.
pub(super) struct Tables {
    /// Good ones of the first group in the first table.
    least: u64,
    /// Likelihoods, relative to the likeliest.
    weights: Vec<f64>,
}

impl Tables {
    pub(super) fn new(first_total: u64, second_total: u64, good: u64) -> Self {
        let least = good.saturating_sub(second_total);
        let most = good.min(first_total);
        // Ratio of the table with k + 1 good ones in the first group to that with k.
        let ratio = |k: u64| {
            let up = (first_total - k) as f64 * (good - k) as f64;
            let down = (k + 1) as f64 * (second_total + k + 1 - good) as f64;
            up / down
        };
        let likeliest = (((good + 1) as f64 * (first_total + 1) as f64
            / (first_total + second_total + 2) as f64) as u64)
            .clamp(least, most);
        let mut weights = vec![0.0; (most - least + 1) as usize];
        let middle = (likeliest - least) as usize;
        weights[middle] = 1.0;
        for at in middle + 1..weights.len() {
            weights[at] = weights[at - 1] * ratio(least + at as u64 - 1);
        }
        for at in (0..middle).rev() {
            weights[at] = weights[at + 1] / ratio(least + at as u64);
        }
        Self { least, weights }
    }

    fn test(&self, good_of_first: u64) -> Fisher {
        let at = (good_of_first - self.least) as usize;
        let all: f64 = self.weights.iter().sum();
        let seen = self.weights[at] * (1.0 + TIE);
        let no_likelier: f64 = self.weights.iter().filter(|&&weight| weight <= seen).sum();
        Fisher {
            two_sided: (no_likelier / all).min(1.0),
            greater: (self.weights[at..].iter().sum::<f64>() / all).min(1.0),
            less: (self.weights[..=at].iter().sum::<f64>() / all).min(1.0),
        }
    }

    /// For each table, from the least good ones of the first group: its two-sided probability.
    pub(super) fn two_sided(&self) -> (u64, Vec<f64>) {
        let all: f64 = self.weights.iter().sum();
        let mut sorted = self.weights.clone();
        sorted.sort_by(f64::total_cmp);
        let running: Vec<f64> = sorted
            .iter()
            .scan(0.0, |sum, weight| {
                *sum += weight;
                Some(*sum)
            })
            .collect();
        let probabilities = self
            .weights
            .iter()
            .map(|weight| {
                let no_likelier = sorted.partition_point(|other| *other <= weight * (1.0 + TIE));
                (running[no_likelier - 1] / all).min(1.0)
            })
            .collect();
        (self.least, probabilities)
    }
}
