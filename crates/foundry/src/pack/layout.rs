//! One plate being packed: forms set on cells of the plate, first where there is room, then by
//! letting them overlap and pushing them apart.
//!
//! # Source
//! Overlaps are removed one piece at a time, each put where its weighted depths in the others
//! sum to the least, with weights that grow where overlaps stay: guided local search, after
//! J. Egeblad, B. K. Nielsen, A. Odgaard, Fast neighborhood search for two- and
//! three-dimensional nesting problems, European J. Operational Research 183(3), 2007, and
//! S. Umetani and others, Solving the irregular strip packing problem via guided local search
//! for overlap minimization, Int. Trans. Operational Research 16(6), 2009 (from memory). Depths
//! are read from rasters of no-fit regions here.

use std::collections::HashMap;

use super::depth::Depths;
use super::mask::{Mask, grown_by};
use crate::random::Random;

/// A footprint in one position and turn, ready to be set.
pub(super) struct Form {
    pub(super) mask: Mask,
    /// With the clearance around it.
    pub(super) grown: Mask,
    /// The cells it covers.
    pub(super) cells: usize,
    /// Places of its corner at which it stands wholly on the plate: row, first column, and the
    /// column behind the last.
    room: Vec<(usize, usize, usize)>,
}

impl Form {
    pub(super) fn new(mask: Mask, bed: &Mask, clearance_cells: f64) -> Self {
        let room = bed.room_for(&mask);
        let spans = |y| room.spans(y).into_iter().map(move |(from, to)| (y, from, to));
        let room = (0..room.height).flat_map(spans).collect();
        Self { grown: mask.grown(clearance_cells), cells: mask.count(), mask, room }
    }

    /// Whether it goes on the empty plate.
    pub(super) fn fits(&self) -> bool {
        !self.room.is_empty()
    }

    /// The first and last column and the first and last row of its places.
    fn reach(&self) -> Option<(usize, usize, usize, usize)> {
        let (&(first, ..), &(last, ..)) = (self.room.first()?, self.room.last()?);
        let left = self.room.iter().map(|&(_, from, _)| from).min()?;
        let right = self.room.iter().map(|&(_, _, to)| to).max()? - 1;
        Some((left, right, first, last))
    }
}

/// A form at a place: the cell of its corner.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Standing {
    pub(super) form: usize,
    pub(super) x: usize,
    pub(super) y: usize,
}

/// Times that places are drawn by lot before room is given up.
const RESTARTS: usize = 3;

/// Depths kept for pairs of forms; all are dropped when they grow beyond this, about 200 MB.
const MOST_KEPT: usize = 100_000_000;

/// The forms of all models, and what is known about pairs of them.
pub(super) struct Table {
    pub(super) forms: Vec<Form>,
    /// Cells of clearance around a grown form.
    margin: usize,
    depths: HashMap<(usize, usize), Depths>,
    kept: usize,
}

impl Table {
    pub(super) fn new(clearance_cells: f64) -> Self {
        Self {
            forms: Vec::new(),
            margin: grown_by(clearance_cells),
            depths: HashMap::new(),
            kept: 0,
        }
    }

    /// Depths of form `moving` in form `still`.
    fn depths(&mut self, still: usize, moving: usize) -> &Depths {
        if self.kept > MOST_KEPT {
            self.depths.clear();
            self.kept = 0;
        }
        self.depths.entry((still, moving)).or_insert_with(|| {
            let depths = Depths::of(&self.forms[still].grown.clash(&self.forms[moving].mask));
            self.kept += depths.width * depths.height;
            depths
        })
    }

    /// How deep one that stands is in another, in thirds of a cell.
    fn depth(&mut self, still: Standing, moving: Standing) -> u16 {
        let mask = &self.forms[moving.form].mask;
        let margin = self.margin as isize;
        let x = moving.x as isize - still.x as isize + margin + mask.width as isize - 1;
        let y = moving.y as isize - still.y as isize + margin + mask.height as isize - 1;
        let grown = &self.forms[still.form].grown;
        let beyond = x < 0
            || y < 0
            || x >= (grown.width + mask.width) as isize
            || y >= (grown.height + mask.height) as isize;
        if beyond { 0 } else { self.depths(still.form, moving.form).at(x, y) }
    }

    /// The lowest free place for one of the forms, then the leftmost; forms that come first go first.
    pub(super) fn free_place(
        &self,
        bed: &Mask,
        standing: &[Standing],
        forms: &[usize],
    ) -> Option<Standing> {
        let mut taken = Mask::new(bed.width, bed.height);
        for still in standing {
            let margin = self.margin as isize;
            let grown = &self.forms[still.form].grown;
            taken.join(grown, still.x as isize - margin, still.y as isize - margin);
        }
        forms.iter().find_map(|&form| {
            let Form { mask, room, .. } = &self.forms[form];
            room.iter().find_map(|&(y, from, to)| {
                let x = (from..to).find(|&x| !taken.touches(mask, x, y))?;
                Some(Standing { form, x, y })
            })
        })
    }

    /// The place for one of the forms at which its weighted depths in the others sum to the least.
    fn least_deep(
        &mut self,
        others: &[(Standing, f32)],
        forms: &[usize],
    ) -> Option<(Standing, f32)> {
        let mut best: Option<(Standing, f32)> = None;
        for &form in forms {
            let Some((left, right, first, last)) = self.forms[form].reach() else { continue };
            let (wide, high) = (right - left + 1, last - first + 1);
            let mut sums = vec![0.0_f32; wide * high];
            let (width, height) = (self.forms[form].mask.width, self.forms[form].mask.height);
            let margin = self.margin;
            for &(still, weight) in others {
                // The place of the moving form that is cell (0, 0) of the depths.
                let x0 = still.x as isize - (margin + width - 1) as isize - left as isize;
                let y0 = still.y as isize - (margin + height - 1) as isize - first as isize;
                let depths = self.depths(still.form, form);
                let from_x = (-x0).max(0);
                let to_x = (wide as isize - x0).min(depths.width as isize);
                let from_y = (-y0).max(0);
                let to_y = (high as isize - y0).min(depths.height as isize);
                if from_x >= to_x {
                    continue;
                }
                for y in from_y..to_y {
                    let row = &depths.row(y as usize)[from_x as usize..to_x as usize];
                    let at = (y + y0) as usize * wide + (from_x + x0) as usize;
                    for (sum, &depth) in sums[at..].iter_mut().zip(row) {
                        *sum += weight * f32::from(depth);
                    }
                }
            }
            for &(y, from, to) in &self.forms[form].room {
                for x in from..to {
                    let sum = sums[(y - first) * wide + x - left];
                    if best.is_none_or(|(_, least)| sum < least) {
                        best = Some((Standing { form, x, y }, sum));
                    }
                }
            }
            if best.is_some_and(|(_, least)| least == 0.0) {
                break;
            }
        }
        best
    }

    /// Finds places without overlaps for all that stand and one more of the last of the
    /// `choices`: from where they stand, then some times from places drawn by lot, each time in
    /// at most so many moves.
    pub(super) fn make_room(
        &mut self,
        standing: &[Standing],
        choices: &[&[usize]],
        moves: usize,
    ) -> Option<Vec<Standing>> {
        let mut chance = Random::new(standing.len() as u64);
        let mut tried = standing.to_vec();
        tried.push(self.squeeze_in(standing, choices.last()?)?);
        for _ in 0..=RESTARTS {
            if self.push_apart(&mut tried, choices, moves, &mut chance) {
                return Some(tried);
            }
            for (place, forms) in tried.iter_mut().zip(choices) {
                let form = forms[chance.below(forms.len())];
                let (y, from, to) =
                    self.forms[form].room[chance.below(self.forms[form].room.len())];
                *place = Standing { form, x: from + chance.below(to - from), y };
            }
        }
        None
    }

    /// Pushes what stands on the plate about until nothing overlaps, in at most so many moves.
    /// `choices` are the forms each may take. Whether it came out.
    fn push_apart(
        &mut self,
        standing: &mut [Standing],
        choices: &[&[usize]],
        moves: usize,
        chance: &mut Random,
    ) -> bool {
        let count = standing.len();
        let mut weights = vec![1.0_f32; count * count];
        let mut deep = vec![0.0_f32; count * count];
        for i in 0..count {
            for j in 0..i {
                let depth = f32::from(self.depth(standing[j], standing[i]));
                (deep[i * count + j], deep[j * count + i]) = (depth, depth);
            }
        }
        for _ in 0..moves {
            let load = |i: usize| -> f32 {
                (0..count).map(|j| deep[i * count + j] * weights[i * count + j]).sum()
            };
            let loads: Vec<(usize, f32)> =
                (0..count).map(|i| (i, load(i))).filter(|(_, load)| *load > 0.0).collect();
            if loads.is_empty() {
                return true;
            }
            // Any of them, not the deepest: the same few would be moved back and forth.
            let (i, now) = loads[chance.below(loads.len())];
            let others: Vec<(Standing, f32)> = (0..count)
                .filter(|&j| j != i)
                .map(|j| (standing[j], weights[i * count + j]))
                .collect();
            let Some((place, then)) = self.least_deep(&others, choices[i]) else { return false };
            if then < now {
                standing[i] = place;
                for j in (0..count).filter(|&j| j != i) {
                    let depth = f32::from(self.depth(standing[j], standing[i]));
                    (deep[i * count + j], deep[j * count + i]) = (depth, depth);
                }
                continue;
            }
            let deepest = deep.iter().fold(0.0_f32, |most, &depth| most.max(depth));
            for (weight, depth) in weights.iter_mut().zip(&deep) {
                *weight += depth / deepest;
            }
        }
        false
    }

    /// Where one more of the forms would overlap the least with what stands.
    fn squeeze_in(&mut self, standing: &[Standing], forms: &[usize]) -> Option<Standing> {
        let others: Vec<(Standing, f32)> = standing.iter().map(|&still| (still, 1.0)).collect();
        self.least_deep(&others, forms).map(|(place, _)| place)
    }
}
