//! Surface nets: a mesh around the inside of a field.

use rayon::prelude::*;

use super::Field;
use super::solid::made;
use crate::mesh::{Bounds, Mesh, Point, vec3};

/// Why a field was not meshed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NetsRefusal {
    /// The cells are too many or too few.
    #[error(
        "a cell of {cell_mm} mm does not suit the box: {cells} cells, where 8 to 64 million are accepted"
    )]
    BadCell {
        /// The cell.
        cell_mm: f64,
        /// How many cells it makes.
        cells: f64,
    },
    /// The shape reaches through the side of the box, so its surface would be open.
    #[error("the shape reaches through the side of the box; give it more room")]
    BeyondBox,
}

/// Meshes a field inside a box with cubic cells of the given size.
///
/// Every cell gets one point for each sheet of the surface that passes through it; the point
/// is then drawn onto the surface along the field's slope, as far as the cell allows. The
/// mesh is closed and faces outwards.
///
/// # Source
/// S. F. Gibson, Constrained elastic surface nets, MICCAI 1998, without the relaxation; a
/// point for each sheet as in G. M. Nielson, Dual marching cubes, IEEE Visualization 2004
/// (both from memory).
///
/// # Refuses
/// See [`NetsRefusal`].
pub fn net(field: &Field, room: &Bounds, cell_mm: f64) -> Result<Mesh, NetsRefusal> {
    let grid = Grid::new(room, cell_mm)?;
    let values = grid.sample(field);
    if grid.border().any(|corner| values[corner] < 0.0) {
        return Err(NetsRefusal::BeyondBox);
    }
    let mut cells = vec![Cell::NONE; values.len()];
    let mut vertices = Vec::new();
    for z in 0..grid.count[2] - 1 {
        for y in 0..grid.count[1] - 1 {
            for x in 0..grid.count[0] - 1 {
                let here = [x, y, z];
                cells[grid.index(here)] = grid.cross(here, &values, &mut vertices);
            }
        }
    }
    vertices.par_iter_mut().for_each(|point| *point = drawn_on(field, *point, cell_mm));
    let triangles = grid.facets(&values, &cells, &vertices);
    Ok(made(vertices, triangles))
}

/// The points of a cell.
#[derive(Clone, Copy)]
struct Cell {
    /// The first of its points.
    first: u32,
    /// For each edge, which of its points belongs to the sheet that cuts it.
    sheet_of: [u8; 12],
}

impl Cell {
    const NONE: Self = Self { first: u32::MAX, sheet_of: [0; 12] };
}

/// An edge of a cell: its lower corner, as bits for x, y and z, and its axis.
fn ends(edge: usize) -> (usize, usize) {
    let (axis, side) = (edge / 4, edge % 4);
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    ((side & 1) << u | (side >> 1) << v, axis)
}

fn edge_number(corner: usize, axis: usize) -> usize {
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    axis * 4 + (corner >> u & 1) + 2 * (corner >> v & 1)
}

/// For each edge of a cell the sheet it belongs to, as the number of one of its edges.
///
/// Cut edges of a face belong to the same sheet; where all four are cut, the two at each
/// inside corner do, in this cell as in its neighbour.
fn sheets(inside: [bool; 8]) -> [u8; 12] {
    let mut sheet: [u8; 12] = std::array::from_fn(|edge| edge as u8);
    let mut join = |a: usize, b: usize| {
        let (from, to) = (sheet[a], sheet[b]);
        sheet.iter_mut().filter(|s| **s == from).for_each(|s| *s = to);
    };
    for axis in 0..3 {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        for side in [0, 1 << axis] {
            let corners = [side, side | 1 << u, side | 1 << u | 1 << v, side | 1 << v];
            let edges = [
                edge_number(corners[0], u),
                edge_number(corners[1], v),
                edge_number(corners[3], u),
                edge_number(corners[0], v),
            ];
            let cut: Vec<usize> =
                (0..4).filter(|&k| inside[corners[k]] != inside[corners[(k + 1) % 4]]).collect();
            match cut.as_slice() {
                [a, b] => join(edges[*a], edges[*b]),
                [_, _, _, _] => (0..4)
                    .filter(|&k| inside[corners[k]])
                    .for_each(|k| join(edges[k], edges[(k + 3) % 4])),
                _ => {}
            }
        }
    }
    sheet
}

struct Grid {
    origin: Point,
    cell: f64,
    /// Corners along each axis.
    count: [usize; 3],
}

impl Grid {
    fn new(room: &Bounds, cell: f64) -> Result<Self, NetsRefusal> {
        let along = room.size().map(|side| (side / cell).ceil() + 1.0);
        let cells = along[0] * along[1] * along[2];
        let suits = cell > 0.0 && (8.0..=64.0e6).contains(&cells);
        if !suits || along.iter().any(|&side| side < 2.0) {
            return Err(NetsRefusal::BadCell { cell_mm: cell, cells });
        }
        Ok(Self { origin: room.least, cell, count: along.map(|side| side as usize) })
    }

    fn index(&self, [x, y, z]: [usize; 3]) -> usize {
        (z * self.count[1] + y) * self.count[0] + x
    }

    fn corner(&self, at: [usize; 3]) -> Point {
        std::array::from_fn(|axis| self.origin[axis] + self.cell * at[axis] as f64)
    }

    /// The field at every corner; in blocks that the surface does not come near, the value
    /// at their middle stands for all.
    fn sample(&self, field: &Field) -> Vec<f64> {
        const BLOCK: usize = 6;
        // Fields are about the distance; some grow faster, none of ours this fast.
        const STEEPEST: f64 = 2.0;
        let reach = STEEPEST * self.cell * BLOCK as f64 * 3.0_f64.sqrt() / 2.0;
        let blocks = self.count.map(|corners| corners.div_ceil(BLOCK));
        let far: Vec<Option<f64>> = (0..blocks.iter().product::<usize>())
            .into_par_iter()
            .map(|index| {
                let at = [
                    index % blocks[0],
                    index / blocks[0] % blocks[1],
                    index / blocks[0] / blocks[1],
                ];
                let half = (BLOCK as f64 - 1.0) / 2.0 * self.cell;
                let middle = self.corner(at.map(|block| block * BLOCK)).map(|c| c + half);
                Some(field.at(middle)).filter(|value| value.abs() > reach)
            })
            .collect();
        let layer = self.count[0] * self.count[1];
        (0..layer * self.count[2])
            .into_par_iter()
            .map(|index| {
                let at =
                    [index % self.count[0], index / self.count[0] % self.count[1], index / layer];
                let [x, y, z] = at.map(|corner| corner / BLOCK);
                far[(z * blocks[1] + y) * blocks[0] + x]
                    .unwrap_or_else(|| field.at(self.corner(at)))
            })
            .collect()
    }

    fn border(&self) -> impl Iterator<Item = usize> + '_ {
        let [nx, ny, nz] = self.count;
        let layer = nx * ny;
        (0..layer * nz).filter(move |index| {
            let (x, y, z) = (index % nx, index / nx % ny, index / layer);
            x == 0 || y == 0 || z == 0 || x == nx - 1 || y == ny - 1 || z == nz - 1
        })
    }

    /// Finds the sheets of the surface in a cell and adds a point for each: the mean of the
    /// places where it cuts the cell's edges.
    fn cross(&self, cell: [usize; 3], values: &[f64], vertices: &mut Vec<Point>) -> Cell {
        let corner = |bits: usize| -> [usize; 3] {
            std::array::from_fn(|axis| cell[axis] + (bits >> axis & 1))
        };
        let inside: [bool; 8] = std::array::from_fn(|bits| values[self.index(corner(bits))] < 0.0);
        if inside == [inside[0]; 8] {
            return Cell::NONE;
        }
        let sheets = sheets(inside);
        let mut cell = Cell { first: vertices.len() as u32, sheet_of: [0; 12] };
        let mut sums: Vec<(u8, Point, f64)> = Vec::new();
        for (edge, sheet) in sheets.into_iter().enumerate() {
            let (from, axis) = ends(edge);
            let (a, b) = (corner(from), corner(from | 1 << axis));
            let (at_a, at_b) = (values[self.index(a)], values[self.index(b)]);
            if (at_a < 0.0) == (at_b < 0.0) {
                continue;
            }
            let mut point = self.corner(a);
            point[axis] += self.cell * at_a / (at_a - at_b);
            let known = sums.iter().position(|(other, ..)| *other == sheet);
            let slot = known.unwrap_or_else(|| {
                sums.push((sheet, [0.0; 3], 0.0));
                sums.len() - 1
            });
            sums[slot].1 = vec3::add(sums[slot].1, point);
            sums[slot].2 += 1.0;
            cell.sheet_of[edge] = slot as u8;
        }
        vertices.extend(sums.iter().map(|(_, sum, cuts)| vec3::scale(*sum, 1.0 / cuts)));
        cell
    }

    /// Four cells around each edge that the surface cuts make two facets.
    fn facets(&self, values: &[f64], cells: &[Cell], vertices: &[Point]) -> Vec<[u32; 3]> {
        let mut triangles = Vec::new();
        for z in 1..self.count[2] - 1 {
            for y in 1..self.count[1] - 1 {
                for x in 1..self.count[0] - 1 {
                    let here = [x, y, z];
                    let inside = values[self.index(here)] < 0.0;
                    for axis in 0..3 {
                        let mut next = here;
                        next[axis] += 1;
                        if (values[self.index(next)] < 0.0) == inside {
                            continue;
                        }
                        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                        let cell = |back_u: usize, back_v: usize| {
                            let mut cell = here;
                            cell[u] -= back_u;
                            cell[v] -= back_v;
                            let edge = edge_number(back_u << u | back_v << v, axis);
                            let cell = &cells[self.index(cell)];
                            cell.first + u32::from(cell.sheet_of[edge])
                        };
                        let mut quad = [cell(1, 1), cell(0, 1), cell(0, 0), cell(1, 0)];
                        if !inside {
                            quad.reverse();
                        }
                        let [a, b, c, d] = quad;
                        let far = |p: u32, q: u32| {
                            vec3::distance(vertices[p as usize], vertices[q as usize])
                        };
                        // The shorter diagonal makes the better facets.
                        if far(a, c) <= far(b, d) {
                            triangles.extend([[a, b, c], [a, c, d]]);
                        } else {
                            triangles.extend([[a, b, d], [b, c, d]]);
                        }
                    }
                }
            }
        }
        triangles
    }
}

/// Moves a point onto the surface by Newton's steps along the slope, at most 0.6 of a cell away.
fn drawn_on(field: &Field, start: Point, cell: f64) -> Point {
    let step = cell * 1.0e-3;
    let mut point = start;
    for _ in 0..4 {
        let slope: Point = std::array::from_fn(|axis| {
            let (mut ahead, mut behind) = (point, point);
            ahead[axis] += step;
            behind[axis] -= step;
            (field.at(ahead) - field.at(behind)) / (2.0 * step)
        });
        let square = vec3::dot(slope, slope);
        if square < 1.0e-6 {
            break;
        }
        point = vec3::sub(point, vec3::scale(slope, field.at(point) / square));
    }
    let away = vec3::sub(point, start);
    let far = vec3::length(away);
    let most = 0.6 * cell;
    if far <= most { point } else { vec3::add(start, vec3::scale(away, most / far)) }
}
