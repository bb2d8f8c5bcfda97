//! Where lines parallel to an axis enter and leave a triangle mesh.
//!
//! Each column of voxels is crossed by a square of `PER_SIDE²` lines. Whether
//! a line passes a triangle is decided by the signs of three edge functions,
//! each computed from its end points in one fixed order whichever triangle
//! asks, so a line near an edge meets exactly one of the two triangles that
//! share it and a closed mesh is always left as often as it is entered.

use rayon::prelude::*;

use super::grid::Grid;
use super::refusal::FreezeRefusal;

/// Lines along each side of a voxel's face; odd, so that one runs through the centres.
pub(super) const PER_SIDE: usize = 3;
/// Lines through one voxel's face.
pub(super) const PER_FACE: usize = PER_SIDE * PER_SIDE;
/// The line through the centres.
pub(super) const CENTRE: usize = PER_FACE / 2;

/// Lines are moved off round numbers by this share of their spacing, so that
/// edges of a model drawn on a round raster do not fall exactly on a line.
const OFFSET: f64 = 3.7e-6;

/// The crossings of all lines along one axis.
pub(super) struct Crossings {
    /// Start of each line's crossings in `hits`; one more than there are lines.
    starts: Vec<u32>,
    /// Place along the axis, in voxels from the origin, and direction.
    hits: Vec<(f32, i8)>,
}

/// The lines along one axis through a grid.
#[derive(Clone, Copy)]
pub(super) struct Lines {
    /// The axis the lines run along.
    pub axis: usize,
    /// The two other axes.
    pub across: [usize; 2],
    /// Columns of voxels along the two other axes.
    pub columns: [usize; 2],
}

impl Lines {
    pub(super) fn new(grid: &Grid, axis: usize) -> Self {
        let across = [(axis + 1) % 3, (axis + 2) % 3];
        Self { axis, across, columns: across.map(|a| grid.counts[a]) }
    }

    /// Number of the line `sub` (0 to `PER_FACE` − 1) of a column.
    fn number(self, column: [usize; 2], sub: [usize; 2]) -> usize {
        (column[0] + self.columns[0] * column[1]) * PER_FACE + sub[0] + PER_SIDE * sub[1]
    }

    /// Where a line of a column lies across, in voxels from the origin.
    pub(super) fn across_voxels(column: [usize; 2], sub: usize) -> [f64; 2] {
        let subs = [sub % PER_SIDE, sub / PER_SIDE];
        std::array::from_fn(|k| place(column[k] * PER_SIDE + subs[k]))
    }
}

/// Coordinate of the line with this running number, in voxels.
fn place(running: usize) -> f64 {
    (running as f64 + 0.5 + OFFSET) / PER_SIDE as f64
}

impl Crossings {
    /// Crosses the mesh with all lines along one axis.
    pub(super) fn find(corners_voxels: &[[f64; 3]], triangles: &[[u32; 3]], lines: Lines) -> Self {
        let mut found: Vec<(u32, f32, i8)> = triangles
            .par_iter()
            .fold(Vec::new, |mut found, triangle| {
                let corners = triangle.map(|v| corners_voxels[v as usize]);
                cross_triangle(corners, lines, &mut found);
                found
            })
            .reduce(Vec::new, |mut a, mut b| {
                a.append(&mut b);
                a
            });
        found.par_sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let count = lines.columns[0] * lines.columns[1] * PER_FACE;
        let mut starts = vec![0_u32; count + 1];
        for hit in &found {
            starts[hit.0 as usize + 1] += 1;
        }
        for i in 0..count {
            starts[i + 1] += starts[i];
        }
        Self { starts, hits: found.into_iter().map(|(_, at, way)| (at, way)).collect() }
    }

    /// Whether any line of a column meets the mesh.
    pub(super) fn column_is_empty(&self, column_number: usize) -> bool {
        self.starts[column_number * PER_FACE] == self.starts[(column_number + 1) * PER_FACE]
    }

    /// The stretches of a line that lie inside, in voxels; `false` when it never leaves.
    pub(super) fn inside(
        &self,
        column_number: usize,
        sub: usize,
        stretches: &mut Vec<(f32, f32)>,
    ) -> bool {
        stretches.clear();
        let line = column_number * PER_FACE + sub;
        let hits = &self.hits[self.starts[line] as usize..self.starts[line + 1] as usize];
        let mut winding = 0_i32;
        let mut entered = 0.0;
        for &(at, way) in hits {
            let before = winding;
            winding += i32::from(way);
            if before == 0 {
                entered = at;
            } else if winding == 0 && at > entered {
                stretches.push((entered, at));
            }
        }
        winding == 0
    }

    /// Lines that enter the mesh and never leave it, and all lines that meet it.
    pub(super) fn check(&self) -> Result<(), FreezeRefusal> {
        let (mut open, mut met) = (0, 0);
        for line in self.starts.windows(2) {
            let hits = &self.hits[line[0] as usize..line[1] as usize];
            met += usize::from(!hits.is_empty());
            open += usize::from(hits.iter().map(|h| i32::from(h.1)).sum::<i32>() != 0);
        }
        if open == 0 { Ok(()) } else { Err(FreezeRefusal::NotClosed { lines: open, of: met }) }
    }
}

/// Adds the crossings of one triangle.
fn cross_triangle(corners: [[f64; 3]; 3], lines: Lines, found: &mut Vec<(u32, f32, i8)>) {
    let flat: [[f64; 2]; 3] = corners.map(|c| lines.across.map(|a| c[a]));
    let ranges: [(usize, usize); 2] = std::array::from_fn(|k| {
        let least = flat.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let most = flat.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
        let count = (lines.columns[k] * PER_SIDE) as f64;
        let from = (least * PER_SIDE as f64 - 1.0).floor().clamp(0.0, count);
        let to = (most * PER_SIDE as f64 + 1.0).ceil().clamp(0.0, count);
        (from as usize, to as usize)
    });
    for v in ranges[1].0..ranges[1].1 {
        for u in ranges[0].0..ranges[0].1 {
            let at = [place(u), place(v)];
            let sides = [
                edge(flat[1], flat[2], at),
                edge(flat[2], flat[0], at),
                edge(flat[0], flat[1], at),
            ];
            if sides[0].1 != sides[1].1 || sides[1].1 != sides[2].1 {
                continue;
            }
            let whole: f64 = sides.iter().map(|s| s.0).sum();
            let along = if whole == 0.0 {
                corners[0][lines.axis]
            } else {
                (0..3).map(|k| sides[k].0 * corners[k][lines.axis]).sum::<f64>() / whole
            };
            let column = [u / PER_SIDE, v / PER_SIDE];
            let number = lines.number(column, [u % PER_SIDE, v % PER_SIDE]);
            found.push((number as u32, along as f32, if sides[0].1 { 1 } else { -1 }));
        }
    }
}

/// Twice the signed area of the edge and the point, and the side the point is
/// on; an exact zero counts as a side by the order of the end points alone.
fn edge(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> (f64, bool) {
    let swapped = (a[0], a[1]) > (b[0], b[1]);
    let (lo, hi) = if swapped { (b, a) } else { (a, b) };
    let area = (hi[0] - lo[0]) * (p[1] - lo[1]) - (hi[1] - lo[1]) * (p[0] - lo[0]);
    let positive = area >= 0.0;
    if swapped { (-area, !positive) } else { (area, positive) }
}
