//! Patches of square cells, one bit each, and where two of them clash.

/// A patch of cells in rows; cell (0, 0) is its corner with the smallest coordinates.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Mask {
    pub(super) width: usize,
    pub(super) height: usize,
    /// 64-bit words in a row.
    words: usize,
    bits: Vec<u64>,
}

impl Mask {
    pub(super) fn new(width: usize, height: usize) -> Self {
        let words = width.div_ceil(64).max(1);
        Self { width, height, words, bits: vec![0; words * height] }
    }

    pub(super) fn get(&self, x: usize, y: usize) -> bool {
        self.bits[y * self.words + x / 64] >> (x % 64) & 1 == 1
    }

    /// As [`Mask::get`], with everything beyond the patch unset.
    pub(super) fn at(&self, x: isize, y: isize) -> bool {
        let inside = |c: isize, size: usize| usize::try_from(c).ok().filter(|&c| c < size);
        match (inside(x, self.width), inside(y, self.height)) {
            (Some(x), Some(y)) => self.get(x, y),
            _ => false,
        }
    }

    /// Sets the cells from `from` to `to`, the latter not included; what lies beyond is left out.
    pub(super) fn set_span(&mut self, y: usize, from: usize, to: usize) {
        let to = to.min(self.width);
        let row = &mut self.bits[y * self.words..][..self.words];
        for (word, bits) in row.iter_mut().enumerate().take(to.div_ceil(64)).skip(from / 64) {
            let low = from.saturating_sub(word * 64).min(64);
            let high = (to - word * 64).min(64);
            if low < high {
                *bits |= (u64::MAX >> (64 - (high - low))) << low;
            }
        }
    }

    pub(super) fn count(&self) -> usize {
        self.bits.iter().map(|bits| bits.count_ones() as usize).sum()
    }

    fn row(&self, y: usize) -> &[u64] {
        &self.bits[y * self.words..][..self.words]
    }

    /// Stretches of set cells in a row: the first, and the one behind the last.
    pub(super) fn spans(&self, y: usize) -> Vec<(usize, usize)> {
        let mut spans = Vec::new();
        let mut begun = None;
        for x in 0..=self.width {
            let set = x < self.width && self.get(x, y);
            match (begun, set) {
                (None, true) => begun = Some(x),
                (Some(from), false) => {
                    spans.push((from, x));
                    begun = None;
                }
                _ => {}
            }
        }
        spans
    }

    /// Sets what is set in another patch whose corner lies at (x, y) of this one.
    pub(super) fn join(&mut self, other: &Self, x: isize, y: isize) {
        for row in 0..other.height {
            let Some(to) = usize::try_from(y + row as isize).ok().filter(|&to| to < self.height)
            else {
                continue;
            };
            let words = self.words;
            or_shifted(&mut self.bits[to * words..][..words], other.row(row), x);
        }
        self.trim();
    }

    /// Unsets what lies in the last word of each row beyond the width.
    fn trim(&mut self) {
        let rest = self.width % 64;
        if rest != 0 {
            for last in self.bits.iter_mut().skip(self.words - 1).step_by(self.words) {
                *last &= u64::MAX >> (64 - rest);
            }
        }
    }

    /// Whether another patch whose corner lies at (x, y), wholly inside, shares a cell with it.
    pub(super) fn touches(&self, other: &Self, x: usize, y: usize) -> bool {
        let (skip, shift) = (x / 64, x % 64);
        (0..other.height).any(|row| {
            let ours = &self.row(y + row)[skip..];
            other.row(row).iter().enumerate().any(|(word, &bits)| {
                let low = ours.get(word).is_some_and(|ours| ours & (bits << shift) != 0);
                let carried = if shift == 0 { 0 } else { bits >> (64 - shift) };
                low || ours.get(word + 1).is_some_and(|ours| ours & carried != 0)
            })
        })
    }

    /// The patch with every cell added whose gap to a set cell is less than `reach` cells,
    /// gaps being measured between the nearest points of two cells. Its corner lies
    /// [`grown_by`] cells before that of the patch.
    pub(super) fn grown(&self, reach: f64) -> Self {
        let margin = grown_by(reach);
        let mut grown = Self::new(self.width + 2 * margin, self.height + 2 * margin);
        for dy in -(margin as isize)..=margin as isize {
            let gap_y = (dy.unsigned_abs() as f64 - 1.0).max(0.0);
            if gap_y >= reach && dy != 0 {
                continue;
            }
            let half = (0..=margin).rev().find(|&dx| {
                let gap_x = (dx as f64 - 1.0).max(0.0);
                dx == 0 || gap_x.hypot(gap_y) < reach
            });
            let half = half.unwrap_or(0);
            for y in 0..self.height {
                for (from, to) in self.spans(y) {
                    let to_y = (y + margin).wrapping_add_signed(dy);
                    grown.set_span(to_y, from + margin - half, to + margin + half);
                }
            }
        }
        grown
    }

    /// The places of another patch's corner at which the two share a cell, as a patch whose cell
    /// (0, 0) stands for the corner at (1 − width, 1 − height) of the other.
    pub(super) fn clash(&self, other: &Self) -> Self {
        let mut clash = Self::new(self.width + other.width - 1, self.height + other.height - 1);
        let mut smeared: Vec<(usize, Self)> = Vec::new();
        for row in 0..other.height {
            for (from, to) in other.spans(row) {
                let length = to - from;
                let at = smeared.iter().position(|(known, _)| *known == length);
                let at = at.unwrap_or_else(|| {
                    smeared.push((length, self.smeared(length)));
                    smeared.len() - 1
                });
                let shift = (other.width - to) as isize;
                let up = (other.height - 1 - row) as isize;
                let (_, ours) = &smeared[at];
                clash.join(ours, shift, up);
            }
        }
        clash
    }

    /// Every set cell drawn out to the right over so many cells.
    fn smeared(&self, length: usize) -> Self {
        let mut smeared = Self::new(self.width + length - 1, self.height);
        smeared.join(self, 0, 0);
        let mut have = 1;
        while have < length {
            let step = have.min(length - have);
            let now = smeared.clone();
            smeared.join(&now, step as isize, 0);
            have += step;
        }
        smeared
    }

    /// The places of another patch's corner at which all its cells lie on set cells of this one;
    /// a patch of the size of this one.
    pub(super) fn room_for(&self, other: &Self) -> Self {
        let mut room = Self::new(self.width, self.height);
        if other.width > self.width || other.height > self.height {
            return room;
        }
        let mut taken = Self::new(self.width, self.height);
        for y in 0..self.height {
            let mut from = 0;
            for (begin, end) in self.spans(y) {
                taken.set_span(y, from, begin);
                from = end;
            }
            taken.set_span(y, from, self.width);
        }
        let clash = taken.clash(other);
        for y in 0..=self.height - other.height {
            for x in 0..=self.width - other.width {
                if !clash.get(x + other.width - 1, y + other.height - 1) {
                    room.set_span(y, x, x + 1);
                }
            }
        }
        room
    }
}

/// How many cells [`Mask::grown`] adds on each side.
pub(super) fn grown_by(reach: f64) -> usize {
    if reach <= 0.0 { 0 } else { reach.ceil() as usize }
}

fn or_shifted(into: &mut [u64], row: &[u64], x: isize) {
    let (skip, shift) = (x.div_euclid(64), x.rem_euclid(64) as u32);
    for (word, &bits) in row.iter().enumerate() {
        let at = word as isize + skip;
        if let Some(low) = usize::try_from(at).ok().and_then(|at| into.get_mut(at)) {
            *low |= bits << shift;
        }
        if shift > 0
            && let Some(high) = usize::try_from(at + 1).ok().and_then(|at| into.get_mut(at))
        {
            *high |= bits >> (64 - shift);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(rows: &[&str]) -> Mask {
        let mut mask = Mask::new(rows[0].len(), rows.len());
        for (y, row) in rows.iter().enumerate() {
            for (x, cell) in row.bytes().enumerate() {
                if cell == b'#' {
                    mask.set_span(y, x, x + 1);
                }
            }
        }
        mask
    }

    /// Two patches of different widths, one beyond a word, with holes.
    fn pair() -> (Mask, Mask) {
        let mut wide = Mask::new(131, 9);
        for y in 0..9 {
            wide.set_span(y, 3 * y, 60 + y * 7);
            wide.set_span(y, 120 - y, 131);
        }
        (wide, drawn(&["##..#", "#...#", "..###"]))
    }

    #[test]
    fn a_clash_is_where_some_cell_is_shared() {
        let (a, b) = pair();
        let clash = a.clash(&b);
        for (ty, y) in (1 - b.height as isize..a.height as isize).enumerate() {
            for (tx, x) in (1 - b.width as isize..a.width as isize).enumerate() {
                let shared = (0..b.height).any(|by| {
                    (0..b.width).any(|bx| b.get(bx, by) && a.at(x + bx as isize, y + by as isize))
                });
                assert_eq!(clash.get(tx, ty), shared, "at {x}, {y}");
                if x >= 0
                    && y >= 0
                    && x as usize + b.width <= a.width
                    && y as usize + b.height <= a.height
                {
                    assert_eq!(a.touches(&b, x as usize, y as usize), shared, "at {x}, {y}");
                }
            }
        }
    }

    #[test]
    fn room_is_where_all_cells_are_on_set_cells() {
        let (a, b) = pair();
        let room = a.room_for(&b);
        let mut some = 0;
        for y in 0..a.height {
            for x in 0..a.width {
                let fits = (0..b.height).all(|by| {
                    (0..b.width)
                        .all(|bx| !b.get(bx, by) || a.at((x + bx) as isize, (y + by) as isize))
                }) && x + b.width <= a.width
                    && y + b.height <= a.height;
                assert_eq!(room.get(x, y), fits, "at {x}, {y}");
                some += usize::from(fits);
            }
        }
        assert!(some > 0);
    }

    #[test]
    fn growing_adds_the_cells_whose_gap_is_small() {
        let one = drawn(&["#"]);
        assert_eq!(one.grown(0.0), one);
        // The second cell on is one cell away, the second across the corner √2.
        assert_eq!(one.grown(1.2), drawn(&[" ### ", "#####", "#####", "#####", " ### "]));
        assert_eq!(one.grown(1.5).count(), 25);
        assert_eq!(one.grown(1.0), drawn(&["###", "###", "###"]));
    }
}
