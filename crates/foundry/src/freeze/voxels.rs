//! Metal and mould as voxels.
//!
//! Each cube counts as metal or mould by its centre, but the surface keeps its
//! true place: the path from a metal centre to a mould centre is cut where the
//! surface cuts it, so the mould's resistance starts at the surface (the
//! symmetric second-order treatment of a boundary between nodes, F. Gibou,
//! R. Fedkiw, L.-T. Cheng, M. Kang, J. Computational Physics 176 (2002) 205;
//! from memory), and metal in cubes whose centre is mould is booked to the
//! metal cubes beside them, so no volume is lost. Counting cubes instead would
//! give a ball one and a half times its area however fine the cubes are.

use rayon::prelude::*;

use super::grid::Grid;
use super::rays::{CENTRE, Crossings, Lines, PER_FACE};
use super::refusal::FreezeRefusal;
use super::shape::{Part, Rod, Shape};

/// Least share of a path between centres that counts as mould where the
/// centres differ; keeps a surface through a centre from dividing by nothing.
const LEAST_GAP: f32 = 0.02;

/// The face between a cube and its next neighbour along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Face {
    /// The cube on the low side, as a place in the flat array.
    pub cell: u32,
    /// Share of the face whose path between the centres is all metal.
    pub metal_share: f32,
    /// Share of the line between the centres that is mould.
    pub gap: f32,
    /// Whether metal touches metal through the face.
    pub open: bool,
}

/// A piece with its sprues in a box of voxels.
#[derive(Debug, Clone)]
pub struct Voxels {
    /// The box.
    pub grid: Grid,
    /// Share of metal in each cube, in the order of the flat array.
    pub(super) metal: Vec<f32>,
    /// Share of each cube that the piece itself fills.
    pub(super) piece: Vec<f32>,
    /// Cubes that count as metal, by rising place, with all metal and metal of
    /// the piece booked to them, in cubes.
    pub(super) cores: Vec<Core>,
    /// Faces with metal on either side, for each axis, by rising cube.
    pub(super) faces: [Vec<Face>; 3],
    rods: Vec<Rod>,
}

/// A cube that counts as metal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Core {
    pub cell: u32,
    /// Metal booked to it, in cubes; more than one where it carries a neighbour's.
    pub metal: f32,
    /// Metal of the piece booked to it, in cubes.
    pub piece: f32,
}

/// One column's results.
struct Column {
    cells: Vec<(u32, f32, f32)>,
    centres: Vec<u32>,
    faces: Vec<Face>,
}

impl Voxels {
    /// Cuts a shape into voxels.
    ///
    /// # Accuracy
    /// Volumes: the mean of three sets of exact lines, 9 lines a voxel face each.
    ///
    /// # Refuses
    /// A mesh that is not closed, broken triangles, no metal in the box.
    pub fn cut(shape: &Shape<'_>, grid: Grid) -> Result<Self, FreezeRefusal> {
        shape.bounds_mm()?;
        let corners: Vec<[f64; 3]> = shape
            .vertices_mm
            .iter()
            .map(|v| std::array::from_fn(|a| (v[a] - grid.origin_mm[a]) / grid.pitch_mm))
            .collect();
        let mut metal = vec![0.0_f32; grid.len()];
        let mut piece = vec![0.0_f32; grid.len()];
        let mut centres = Vec::new();
        let mut faces = [const { Vec::new() }; 3];
        for (axis, faces) in faces.iter_mut().enumerate() {
            let lines = Lines::new(&grid, axis);
            let crossings = Crossings::find(&corners, shape.triangles, lines);
            crossings.check()?;
            let columns: Vec<Column> = (0..lines.columns[0] * lines.columns[1])
                .into_par_iter()
                .filter_map(|number| column(shape, &grid, lines, &crossings, number))
                .collect();
            for column in columns {
                for (cell, all, own) in column.cells {
                    metal[cell as usize] += all / 3.0;
                    piece[cell as usize] += own / 3.0;
                }
                faces.extend(column.faces);
                if axis == 0 {
                    centres.extend(column.centres);
                }
            }
            faces.par_sort_unstable_by_key(|f: &Face| f.cell);
        }
        let cores = super::cores::book(&grid, &metal, &piece, &centres);
        if cores.is_empty() {
            return Err(FreezeRefusal::NoMetal { pitch_mm: grid.pitch_mm });
        }
        Ok(Self { grid, metal, piece, cores, faces, rods: shape.rods.to_vec() })
    }

    /// Metal in the box, in mm³.
    #[must_use]
    pub fn metal_mm3(&self) -> f64 {
        self.metal.iter().map(|&f| f64::from(f)).sum::<f64>() * self.grid.voxel_mm3()
    }

    /// Metal of the piece in the box, in mm³.
    #[must_use]
    pub fn piece_mm3(&self) -> f64 {
        self.piece.iter().map(|&f| f64::from(f)).sum::<f64>() * self.grid.voxel_mm3()
    }

    /// Share of metal in a cube.
    #[must_use]
    pub fn metal_share(&self, index: usize) -> f32 {
        self.metal.get(index).copied().unwrap_or(0.0)
    }

    /// Whose metal a cube holds.
    pub(super) fn part(&self, index: usize) -> Part {
        if self.piece[index] >= 0.5 * self.metal[index] {
            return Part::Piece;
        }
        let centre = self.grid.centre_mm(index);
        // A cube at a rod's surface may have its centre just outside; it then
        // belongs to the sprue, which only makes the feeder a little smaller.
        if self.rods.iter().any(|r| r.part == Part::Button && r.contains(centre)) {
            Part::Button
        } else {
            Part::Sprue
        }
    }
}

/// What the lines of one column found at a face.
#[derive(Clone, Copy)]
struct Tally {
    metal: u32,
    open: bool,
    gap: f32,
    any: bool,
}

/// Works through the lines of one column; `None` when there is no metal.
fn column(
    shape: &Shape<'_>,
    grid: &Grid,
    lines: Lines,
    crossings: &Crossings,
    number: usize,
) -> Option<Column> {
    let column = [number % lines.columns[0], number / lines.columns[0]];
    let rods = rods_near(shape, grid, lines, column);
    if rods.is_empty() && crossings.column_is_empty(number) {
        return None;
    }
    let count = grid.counts[lines.axis];
    let mut own = vec![0.0_f32; 2 * count];
    let mut all = vec![0.0_f32; 2 * count];
    let mut cells = vec![(0.0_f32, 0.0_f32); count];
    let mut tallies = vec![Tally { metal: 0, open: false, gap: 1.0, any: false }; count];
    let mut centres = Vec::new();
    let mut stretches = Vec::new();
    for sub in 0..PER_FACE {
        crossings.inside(number, sub, &mut stretches);
        own.fill(0.0);
        for &(from, to) in &stretches {
            spread(&mut own, from, to);
        }
        add_rods(shape, grid, lines, Lines::across_voxels(column, sub), &rods, &mut stretches);
        join(&mut stretches);
        all.fill(0.0);
        for &(from, to) in &stretches {
            spread(&mut all, from, to);
            open_faces(&mut tallies, from, to);
            if sub == CENTRE {
                let middles = ((from - 0.5).ceil().max(0.0) as usize)..count;
                centres.extend(middles.take_while(|&c| (c as f32) + 0.5 < to));
            }
        }
        for cell in 0..count {
            cells[cell].0 += all[2 * cell] + all[2 * cell + 1];
            cells[cell].1 += own[2 * cell] + own[2 * cell + 1];
            if cell + 1 < count {
                let metal = all[2 * cell + 1] + all[2 * cell + 2];
                let tally = &mut tallies[cell];
                tally.any |= metal > 0.0;
                tally.metal += u32::from(metal > 1.0 - 1e-5);
                if sub == CENTRE {
                    tally.gap = 1.0 - metal.min(1.0);
                }
            }
        }
    }
    let stride = grid.strides()[lines.axis];
    let mut base = [0; 3];
    base[lines.across[0]] = column[0];
    base[lines.across[1]] = column[1];
    let base = grid.index(base);
    let per_face = PER_FACE as f32;
    let place = |cell: usize| (base + cell * stride) as u32;
    let face = |c: usize, tally: Tally| Face {
        cell: place(c),
        metal_share: tally.metal as f32 / per_face,
        gap: tally.gap.max(LEAST_GAP),
        open: tally.open,
    };
    Some(Column {
        cells: (0..count)
            .filter(|&c| cells[c].0 > 0.0)
            .map(|c| (place(c), cells[c].0 / per_face, cells[c].1 / per_face))
            .collect(),
        centres: centres.into_iter().map(place).collect(),
        faces: (0..count).filter(|&c| tallies[c].any).map(|c| face(c, tallies[c])).collect(),
    })
}

/// Adds the stretches of a line inside the rods, in voxels.
fn add_rods(
    shape: &Shape<'_>,
    grid: &Grid,
    lines: Lines,
    across: [f64; 2],
    rods: &[usize],
    stretches: &mut Vec<(f32, f32)>,
) {
    let mut through = grid.origin_mm;
    for k in 0..2 {
        through[lines.across[k]] += across[k] * grid.pitch_mm;
    }
    let limit = grid.counts[lines.axis] as f64 + 1.0;
    for &rod in rods {
        if let Some((from, to)) = shape.rods[rod].stretch_mm(lines.axis, through) {
            let voxels = |mm: f64| (mm / grid.pitch_mm).clamp(-1.0, limit) as f32;
            stretches.push((voxels(from), voxels(to)));
        }
    }
}

/// Marks the faces that lie strictly inside a stretch.
fn open_faces(tallies: &mut [Tally], from: f32, to: f32) {
    let first = from.floor().max(0.0) as usize;
    let count = tallies.len().saturating_sub(1);
    for (face, tally) in tallies.iter_mut().enumerate().take(count).skip(first) {
        let at = (face + 1) as f32;
        if at >= to {
            break;
        }
        tally.open |= at > from;
    }
}

/// Rods whose box meets a column.
fn rods_near(shape: &Shape<'_>, grid: &Grid, lines: Lines, column: [usize; 2]) -> Vec<usize> {
    (0..shape.rods.len())
        .filter(|&r| {
            let (low, high) = shape.rods[r].bounds_mm();
            (0..2).all(|k| {
                let a = lines.across[k];
                let from = grid.origin_mm[a] + column[k] as f64 * grid.pitch_mm;
                low[a] < from + grid.pitch_mm && high[a] > from
            })
        })
        .collect()
}

/// Adds a stretch, in voxels, to the lengths inside each half voxel.
fn spread(halves: &mut [f32], from: f32, to: f32) {
    let from = (2.0 * from).max(0.0);
    let to = (2.0 * to).min(halves.len() as f32);
    if to <= from {
        return;
    }
    let first = from.floor() as usize;
    let last = (to.ceil() as usize).min(halves.len());
    for (half, length) in halves.iter_mut().enumerate().take(last).skip(first) {
        let low = (half as f32).max(from);
        let high = ((half + 1) as f32).min(to);
        *length += 0.5 * (high - low).max(0.0);
    }
}

/// Joins stretches that overlap or touch.
fn join(stretches: &mut Vec<(f32, f32)>) {
    stretches.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut kept: usize = 0;
    for i in 0..stretches.len() {
        let next = stretches[i];
        if kept > 0 && next.0 <= stretches[kept - 1].1 {
            stretches[kept - 1].1 = stretches[kept - 1].1.max(next.1);
        } else {
            stretches[kept] = next;
            kept += 1;
        }
    }
    stretches.truncate(kept);
}
