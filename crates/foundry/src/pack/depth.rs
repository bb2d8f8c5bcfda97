//! How deep one footprint stands in another: how far it has to move to come free.

use super::mask::Mask;

/// Depths over the places of a footprint's corner, as [`Mask::clash`] counts them, in thirds of a
/// cell; zero where the two do not clash.
pub(super) struct Depths {
    pub(super) width: usize,
    pub(super) height: usize,
    thirds: Vec<u16>,
}

/// Steps to the neighbours already passed, and their lengths in thirds of a cell.
///
/// Source: G. Borgefors, Distance transformations in digital images, Computer Vision, Graphics
/// and Image Processing 34(3), 1986: the weights 3 and 4 are off by at most 8 % (from memory).
const BEHIND: [(isize, isize, u16); 4] = [(-1, 0, 3), (-1, -1, 4), (0, -1, 3), (1, -1, 4)];

impl Depths {
    pub(super) fn of(clash: &Mask) -> Self {
        let (width, height) = (clash.width, clash.height);
        let mut thirds = vec![0_u16; width * height];
        for y in 0..height {
            for (from, to) in clash.spans(y) {
                thirds[y * width + from..y * width + to].fill(u16::MAX);
            }
        }
        let mut depths = Self { width, height, thirds };
        for y in 0..height {
            for x in 0..width {
                depths.lower(x, y, 1);
            }
        }
        for y in (0..height).rev() {
            for x in (0..width).rev() {
                depths.lower(x, y, -1);
            }
        }
        depths
    }

    fn lower(&mut self, x: usize, y: usize, sign: isize) {
        let at = y * self.width + x;
        if self.thirds[at] == 0 {
            return;
        }
        for (dx, dy, length) in BEHIND {
            let beside = self.at(x as isize + sign * dx, y as isize + sign * dy);
            self.thirds[at] = self.thirds[at].min(beside.saturating_add(length));
        }
    }

    /// The depth at a place; zero beyond the patch.
    pub(super) fn at(&self, x: isize, y: isize) -> u16 {
        match (usize::try_from(x), usize::try_from(y)) {
            (Ok(x), Ok(y)) if x < self.width && y < self.height => self.thirds[y * self.width + x],
            _ => 0,
        }
    }

    pub(super) fn row(&self, y: usize) -> &[u16] {
        &self.thirds[y * self.width..][..self.width]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_equal_squares_on_each_other_are_their_width_deep() {
        let mut square = Mask::new(10, 10);
        (0..10).for_each(|y| square.set_span(y, 0, 10));
        let depths = Depths::of(&square.clash(&square));
        assert_eq!(depths.at(9, 9), 30, "ten cells to come free");
        assert_eq!(depths.at(0, 9), 3, "one cell to come free");
        assert_eq!(depths.at(-1, 9), 0);
    }
}
