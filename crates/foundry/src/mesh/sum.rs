//! Sums that keep their digits.

/// A sum with Neumaier's compensation: its error does not grow with the number of terms.
///
/// Source: A. Neumaier, Rundungsfehleranalyse einiger Verfahren zur Summation endlicher
/// Summen, ZAMM 54, 1974, pages 39-51 (from memory).
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sum {
    total: f64,
    lost: f64,
}

impl Sum {
    /// The sum of nothing.
    pub(crate) const ZERO: Self = Self { total: 0.0, lost: 0.0 };

    pub(crate) fn add(&mut self, term: f64) {
        let total = self.total + term;
        self.lost += if self.total.abs() >= term.abs() {
            (self.total - total) + term
        } else {
            (term - total) + self.total
        };
        self.total = total;
    }

    /// Adds what another has summed up.
    pub(crate) fn include(&mut self, other: Self) {
        self.add(other.total);
        self.lost += other.lost;
    }

    pub(crate) fn get(self) -> f64 {
        self.total + self.lost
    }
}
