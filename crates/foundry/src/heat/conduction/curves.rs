//! Enthalpy curves cut into straight pieces, all in one list.

/// A straight piece of an enthalpy curve: `h = offset + slope × t` from `low` to `high`.
///
/// The first piece of a curve reaches down without end, the last one up.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) low_c: f64,
    pub(super) high_c: f64,
    pub(super) slope_j_m3k: f64,
    pub(super) offset_j_m3: f64,
}

/// Where a curve's pieces lie in the list.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    first: usize,
    last: usize,
}

/// All curves of a flask.
#[derive(Debug, Clone, Default)]
pub(super) struct Curves {
    pub(super) pieces: Vec<Piece>,
}

impl Curves {
    /// Adds a curve through corners `(°C, J/m³)`, scaled by the share of solid.
    pub(super) fn add(&mut self, corners: &[(f64, f64)], scale: f64) -> Span {
        let first = self.pieces.len();
        for pair in corners.windows(2) {
            let slope = (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0) * scale;
            self.pieces.push(Piece {
                low_c: pair[0].0,
                high_c: pair[1].0,
                slope_j_m3k: slope,
                offset_j_m3: pair[0].1 * scale - slope * pair[0].0,
            });
        }
        let last = self.pieces.len() - 1;
        self.pieces[first].low_c = f64::NEG_INFINITY;
        self.pieces[last].high_c = f64::INFINITY;
        Span { first, last }
    }

    /// The piece of a curve that holds a temperature.
    pub(super) fn piece_at(&self, curve: Span, t: f64) -> usize {
        let pieces = &self.pieces[curve.first..=curve.last];
        curve.first + pieces.partition_point(|piece| piece.high_c < t).min(pieces.len() - 1)
    }
}
