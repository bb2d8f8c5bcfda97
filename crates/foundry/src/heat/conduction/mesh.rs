//! The cells of a flask.

use super::sweep::ABREAST;
use crate::heat::body::{Base, FlaskBody, Grid};

/// Cells in columns of constant radius; the last column is the steel wall, if there is one.
///
/// Cell `(column, row)` lies at `column × rows + row`; row 0 is at the base, or at mid height when
/// only the upper half is solved. Columns are padded to a multiple of four with idle ones.
#[derive(Debug, Clone)]
pub(super) struct Mesh {
    /// Columns of investment.
    pub(super) radial: usize,
    /// Columns of investment and wall.
    pub(super) columns: usize,
    /// Columns with the padding.
    pub(super) padded: usize,
    /// Cells along the height.
    pub(super) rows: usize,
    /// Width of a column of investment, m.
    pub(super) dr_m: f64,
    /// Height of a row, m.
    pub(super) dz_m: f64,
    /// Inside radius, m.
    pub(super) inside_m: f64,
    /// Outside radius, m.
    pub(super) outside_m: f64,
    /// Area of a column's section for one radian, m².
    pub(super) area_m2: Vec<f64>,
    /// How often the solved part makes up the flask: 2 when only the upper half is solved.
    pub(super) copies: f64,
    /// Whether the base takes part in the exchange with the kiln.
    pub(super) base_open: bool,
}

impl Mesh {
    pub(super) fn new(body: &FlaskBody, grid: &Grid) -> Self {
        // With heat from both ends and no tree the flask is its own mirror image.
        let half = body.base == Base::Raised && body.tree.is_none();
        let height_m = body.height.get() / 1000.0 * if half { 0.5 } else { 1.0 };
        let asked = if half { grid.axial.div_ceil(2) } else { grid.axial };
        let rows = asked.next_multiple_of(ABREAST);
        let inside_m = body.inside_diameter.get() / 2000.0;
        let outside_m = inside_m + body.wall.map_or(0.0, |wall| wall.thickness.get() / 1000.0);
        let radial = grid.radial;
        let columns = radial + usize::from(body.wall.is_some());
        let padded = columns.next_multiple_of(ABREAST);
        let dr_m = inside_m / radial as f64;
        let mut area_m2 = vec![1.0; padded];
        for (column, area) in area_m2.iter_mut().enumerate().take(radial) {
            *area = (column as f64 + 0.5) * dr_m * dr_m;
        }
        if columns > radial {
            area_m2[radial] = (outside_m * outside_m - inside_m * inside_m) / 2.0;
        }
        Self {
            radial,
            columns,
            padded,
            rows,
            dr_m,
            dz_m: height_m / rows as f64,
            inside_m,
            outside_m,
            area_m2,
            copies: if half { 2.0 } else { 1.0 },
            base_open: body.base == Base::Raised && !half,
        }
    }

    pub(super) fn cell(&self, column: usize, row: usize) -> usize {
        column * self.rows + row
    }

    /// Height of the middle of a row above the foot of the solved part, m.
    pub(super) fn row_height_m(&self, row: usize) -> f64 {
        (row as f64 + 0.5) * self.dz_m
    }

    /// Radius of the middle of a column of investment, m.
    pub(super) fn column_radius_m(&self, column: usize) -> f64 {
        (column as f64 + 0.5) * self.dr_m
    }

    /// A probe at a radius and a height above the foot of the solved part, by straight lines
    /// between cells; towards the axis and a plane of symmetry by a parabola.
    pub(super) fn probe(&self, radius_m: f64, height_m: f64) -> Probe {
        let across = even_weights(radius_m / self.dr_m, self.radial);
        let foot_closed = !self.base_open;
        let along = if foot_closed {
            even_weights(height_m / self.dz_m, self.rows)
        } else {
            plain_weights(height_m / self.dz_m, self.rows)
        };
        let mut parts = [(0, 0.0); 4];
        for (a, (column, in_column)) in across.into_iter().enumerate() {
            for (b, (row, in_row)) in along.into_iter().enumerate() {
                parts[a * 2 + b] = (self.cell(column, row), in_column * in_row);
            }
        }
        Probe { parts }
    }

    /// A probe in the steel wall, or the outermost investment of a bare block.
    pub(super) fn wall_probe(&self, height_m: f64) -> Probe {
        let column = self.columns - 1;
        let along = even_weights(height_m / self.dz_m, self.rows);
        let mut parts = [(0, 0.0); 4];
        for (part, (row, weight)) in parts.iter_mut().zip(along) {
            *part = (self.cell(column, row), weight);
        }
        Probe { parts }
    }
}

/// A point in the flask as a weighted sum of cells.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Probe {
    parts: [(usize, f64); 4],
}

impl Probe {
    /// The value of a field of cells at the point.
    pub(crate) fn read(&self, field: &[f64]) -> f64 {
        self.parts.iter().map(|&(cell, weight)| field[cell] * weight).sum()
    }
}

/// Weights of two cells for a point `at` cells from an end about which the field is even.
fn even_weights(at: f64, cells: usize) -> [(usize, f64); 2] {
    if at < 0.5 && cells > 1 {
        // Even parabola through the middles of cells 0 and 1, at 1/2 and 3/2.
        let second = (at * at - 0.25) / 2.0;
        return [(0, 1.0 - second), (1, second)];
    }
    plain_weights(at, cells)
}

fn plain_weights(at: f64, cells: usize) -> [(usize, f64); 2] {
    if cells < 2 {
        return [(0, 1.0), (0, 0.0)];
    }
    let low = ((at - 0.5).floor().max(0.0) as usize).min(cells - 2);
    let part = at - 0.5 - low as f64;
    [(low, 1.0 - part), (low + 1, part)]
}
