//! The time step.

use super::curves::{Curves, Span};
use super::mesh::{Mesh, Probe};
use super::resistivity::{Resistivity, with_voids};
use super::sweep::{ABREAST, Lanes, NotSettled};
use crate::heat::body::{FlaskBody, Grid, Surface};
use crate::heat::material::lookup;
use crate::heat::refusal::HeatRefusal;

/// The kiln's temperature at the beginning and the end of a step, °C.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KilnHeat {
    pub(crate) now_c: f64,
    pub(crate) end_c: f64,
}

/// The kinds of material in a flask.
const SET: u8 = 0;
const FIRED: u8 = 1;
const TREE_SET: u8 = 2;
const TREE_FIRED: u8 = 3;
const STEEL: u8 = 4;

/// A flask under way: its temperatures and all that a step needs.
#[derive(Debug, Clone)]
pub(crate) struct Solver {
    pub(super) mesh: Mesh,
    pub(super) surface: Surface,
    pub(super) curves: Curves,
    pub(super) spans: [Option<Span>; 5],
    pub(super) resistivities: Vec<Resistivity>,
    pub(super) fired_from_c: f64,
    pub(super) constant_conductivity: bool,
    pub(super) contact_ready: bool,
    pub(super) kind: Vec<u8>,
    pub(super) piece: Vec<usize>,
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
    pub(super) slope: Vec<f64>,
    pub(super) offset: Vec<f64>,
    pub(super) t_c: Vec<f64>,
    pub(super) before_c: Vec<f64>,
    pub(super) h_j_m3: Vec<f64>,
    pub(super) h_before_j_m3: Vec<f64>,
    pub(super) heat: Vec<f64>,
    pub(super) right: Vec<f64>,
    pub(super) resistivity_mk_w: Vec<f64>,
    /// Conductance to the next column for one radian and metre of height; last column: to the kiln.
    pub(super) outward: Vec<f64>,
    /// Conductance to the next row per volume; last row: to the kiln at the end of the step.
    pub(super) upward: Vec<f64>,
    /// Conductance of each column's top to the kiln per volume at the beginning of the step.
    pub(super) top_now: Vec<f64>,
    pub(super) base_now: Vec<f64>,
    pub(super) base_end: Vec<f64>,
    /// Elimination: factors and right-hand sides of the lines under way.
    pub(super) factor: Vec<Lanes>,
    pub(super) reduced: Vec<Lanes>,
    pub(super) last_dt_s: f64,
    /// Heat taken up in the last step, J.
    pub(super) taken_j: f64,
    /// The greatest change of any cell in the last step, K.
    pub(super) change_k: f64,
}

impl Solver {
    /// Lays out a flask at its start temperature.
    pub(crate) fn new(body: &FlaskBody, grid: &Grid) -> Result<Self, HeatRefusal> {
        body.check()?;
        grid.check()?;
        let mesh = Mesh::new(body, grid);
        let investment = &body.investment;
        let hollow = body.tree.map_or(0.0, |tree| tree.hollow);
        let mut curves = Curves::default();
        let mut spans = [None; 5];
        let fired = investment.fired_enthalpy();
        let set = investment.set_enthalpy();
        spans[FIRED as usize] = Some(curves.add(&fired, 1.0));
        spans[TREE_FIRED as usize] = Some(curves.add(&fired, 1.0 - hollow));
        if let Some(set) = set {
            spans[SET as usize] = Some(curves.add(&set, 1.0));
            spans[TREE_SET as usize] = Some(curves.add(&set, 1.0 - hollow));
        }
        if let Some(wall) = body.wall {
            let capacity = wall.density_kg_m3 * wall.specific_heat_j_kgk;
            spans[STEEL as usize] =
                Some(curves.add(&[(0.0, 0.0), (1000.0, capacity * 1000.0)], 1.0));
        }
        let dry = |t: f64| lookup(&investment.conductivity_w_mk, t);
        let wet = |t: f64| match investment.wet_conductivity_w_mk {
            Some(wet) if t <= 100.0 => wet,
            _ => dry(t),
        };
        let resistivities = vec![
            Resistivity::new(wet),
            Resistivity::new(dry),
            Resistivity::new(|t| with_voids(wet(t), hollow, t)),
            Resistivity::new(|t| with_voids(dry(t), hollow, t)),
            Resistivity::new(|_| body.wall.map_or(1.0, |wall| wall.conductivity_w_mk)),
        ];
        let constant_conductivity = investment.conductivity_w_mk.len() == 1
            && investment.wet_conductivity_w_mk.is_none()
            && body.tree.is_none();
        let cells = mesh.padded * mesh.rows;
        let start = body.start.get();
        let mut solver = Self {
            kind: vec![FIRED; cells],
            piece: vec![0; cells],
            low: vec![f64::NEG_INFINITY; cells],
            high: vec![f64::INFINITY; cells],
            slope: vec![1.0; cells],
            offset: vec![0.0; cells],
            t_c: vec![start; cells],
            before_c: vec![start; cells],
            h_j_m3: vec![start; cells],
            h_before_j_m3: vec![start; cells],
            heat: vec![0.0; cells],
            right: vec![0.0; cells],
            resistivity_mk_w: vec![1.0; cells],
            outward: vec![0.0; cells],
            upward: vec![0.0; cells],
            top_now: vec![0.0; mesh.padded],
            base_now: vec![0.0; mesh.padded],
            base_end: vec![0.0; mesh.padded],
            factor: vec![[0.0; ABREAST]; mesh.padded.max(mesh.rows)],
            reduced: vec![[0.0; ABREAST]; mesh.padded.max(mesh.rows)],
            surface: body.surface,
            fired_from_c: investment.fired_from_c(),
            constant_conductivity,
            contact_ready: false,
            last_dt_s: 0.0,
            taken_j: 0.0,
            change_k: 0.0,
            mesh,
            curves,
            spans,
            resistivities,
        };
        solver.fill(body);
        Ok(solver)
    }

    fn fill(&mut self, body: &FlaskBody) {
        let has_set = self.spans[SET as usize].is_some();
        for column in 0..self.mesh.columns {
            for row in 0..self.mesh.rows {
                let in_tree = body.tree.is_some_and(|tree| {
                    let radius = self.mesh.column_radius_m(column) * 1000.0;
                    let height = self.mesh.row_height_m(row) * 1000.0;
                    radius < tree.radius.get() && height > tree.from.get() && height < tree.to.get()
                });
                let kind = match (column >= self.mesh.radial, in_tree, has_set) {
                    (true, _, _) => STEEL,
                    (_, false, true) => SET,
                    (_, false, false) => FIRED,
                    (_, true, true) => TREE_SET,
                    (_, true, false) => TREE_FIRED,
                };
                let cell = self.mesh.cell(column, row);
                self.kind[cell] = kind;
                if let Some(span) = self.spans[kind as usize] {
                    self.take_piece(cell, self.curves.piece_at(span, self.t_c[cell]));
                    self.h_j_m3[cell] = self.offset[cell] + self.slope[cell] * self.t_c[cell];
                }
            }
        }
    }

    pub(super) fn take_piece(&mut self, cell: usize, piece: usize) {
        let straight = self.curves.pieces[piece];
        self.piece[cell] = piece;
        self.low[cell] = straight.low_c;
        self.high[cell] = straight.high_c;
        self.slope[cell] = straight.slope_j_m3k;
        self.offset[cell] = straight.offset_j_m3;
    }

    /// Takes the flask one step further.
    ///
    /// With the length of the last step in `w = dt / last`, the enthalpy at the end follows
    /// `h = ((1 + w)² h(n) − w² h(n−1)) / (1 + 2w) + dt (1 + w) / (1 + 2w) × heat(n+1)`.
    pub(crate) fn step(&mut self, dt_s: f64, kiln: KilnHeat) -> Result<(), NotSettled> {
        let w = if self.last_dt_s > 0.0 { dt_s / self.last_dt_s } else { 0.0 };
        let weight_s = dt_s * (1.0 + w) / (1.0 + 2.0 * w);
        self.conduct(w);
        self.exchange(w, kiln);
        self.heat_along(weight_s, kiln.now_c);
        self.before_c.copy_from_slice(&self.t_c);
        let stored = self.stored_j();
        let (of_now, of_before) = ((1.0 + w).powi(2) / (1.0 + 2.0 * w), w * w / (1.0 + 2.0 * w));
        for (((right, heat), h), before) in
            self.right.iter_mut().zip(&self.heat).zip(&self.h_j_m3).zip(&mut self.h_before_j_m3)
        {
            *right = of_now * h - of_before * *before + heat;
            *before = *h;
        }
        self.across(weight_s, kiln.end_c)?;
        for ((right, heat), h) in self.right.iter_mut().zip(&self.heat).zip(&self.h_j_m3) {
            *right = h - heat;
        }
        self.along(weight_s, kiln.end_c)?;
        self.taken_j = self.stored_j() - stored;
        self.change_k = self.greatest_change_k();
        self.mark_fired();
        self.last_dt_s = dt_s;
        Ok(())
    }

    fn greatest_change_k(&self) -> f64 {
        let cells = self.mesh.columns * self.mesh.rows;
        let pairs = self.t_c[..cells].iter().zip(&self.before_c[..cells]);
        pairs.fold(0.0, |most: f64, (now, before)| most.max((now - before).abs()))
    }

    /// The greatest change of any cell in the last step, K.
    pub(crate) fn change_k(&self) -> f64 {
        self.change_k
    }

    /// Forgets how the flask came to be as it is: the surroundings have changed at once.
    pub(crate) fn restart(&mut self) {
        self.last_dt_s = 0.0;
    }

    /// Heat in the flask, J, above an arbitrary zero.
    fn stored_j(&self) -> f64 {
        let rows = self.mesh.rows;
        let mut sum = 0.0;
        for column in 0..self.mesh.columns {
            let of_column: f64 = self.h_j_m3[column * rows..(column + 1) * rows].iter().sum();
            sum += of_column * self.mesh.area_m2[column];
        }
        sum * self.mesh.dz_m * self.mesh.copies * std::f64::consts::TAU
    }

    /// Cells past the last reaction follow the fired curve from here on.
    fn mark_fired(&mut self) {
        for cell in 0..self.mesh.radial * self.mesh.rows {
            let fired = match self.kind[cell] {
                SET => FIRED,
                TREE_SET => TREE_FIRED,
                _ => continue,
            };
            if self.low[cell] < self.fired_from_c {
                continue;
            }
            if let Some(span) = self.spans[fired as usize] {
                self.kind[cell] = fired;
                self.take_piece(cell, self.curves.piece_at(span, self.t_c[cell]));
                let h = self.offset[cell] + self.slope[cell] * self.t_c[cell];
                self.h_before_j_m3[cell] += h - self.h_j_m3[cell];
                self.h_j_m3[cell] = h;
            }
        }
    }

    /// Heat taken up in the last step, J.
    pub(crate) fn taken_j(&self) -> f64 {
        self.taken_j
    }

    /// What the flask takes for each kelvin the kiln is hotter, as of the last step, W/K.
    pub(crate) fn exchange_w_k(&self) -> f64 {
        let mesh = &self.mesh;
        let rows = mesh.rows;
        let side = (mesh.columns - 1) * rows;
        let of_side: f64 = self.outward[side..side + rows].iter().sum::<f64>() * mesh.dz_m;
        let mut of_ends = 0.0;
        for column in 0..mesh.columns {
            let top = self.upward[column * rows + rows - 1];
            of_ends += (top + self.base_end[column]) * mesh.area_m2[column] * mesh.dz_m;
        }
        (of_side + of_ends) * mesh.copies * std::f64::consts::TAU
    }

    /// Inside radius, m.
    pub(crate) fn inside_m(&self) -> f64 {
        self.mesh.inside_m
    }

    /// Temperatures of the cells, °C.
    pub(crate) fn field(&self) -> &[f64] {
        &self.t_c
    }

    /// The cells' edges and temperatures, of the whole height.
    pub(crate) fn section(&self) -> CellSection {
        let mesh = &self.mesh;
        let mut radii_m: Vec<f64> = (0..=mesh.radial).map(|n| n as f64 * mesh.dr_m).collect();
        if mesh.columns > mesh.radial {
            radii_m.push(mesh.outside_m);
        }
        let mirrored = mesh.copies > 1.0;
        let rows = if mirrored { 2 * mesh.rows } else { mesh.rows };
        let heights_m = (0..=rows).map(|n| n as f64 * mesh.dz_m).collect();
        let mut t_c = Vec::with_capacity(rows * mesh.columns);
        for row in 0..rows {
            let solved = match (mirrored, row < mesh.rows) {
                (false, _) => row,
                (true, true) => mesh.rows - 1 - row,
                (true, false) => row - mesh.rows,
            };
            t_c.extend((0..mesh.columns).map(|column| self.t_c[mesh.cell(column, solved)]));
        }
        CellSection { radii_m, heights_m, t_c }
    }

    /// Mean temperature of the investment, °C.
    pub(crate) fn mean_c(&self) -> f64 {
        let rows = self.mesh.rows;
        let (mut sum, mut area) = (0.0, 0.0);
        for column in 0..self.mesh.radial {
            let of_column: f64 = self.t_c[column * rows..(column + 1) * rows].iter().sum();
            sum += of_column * self.mesh.area_m2[column];
            area += self.mesh.area_m2[column] * rows as f64;
        }
        sum / area
    }

    /// A probe at a radius and a height above the base, both in m; `None` in the height takes the
    /// slowest height: the base on a shelf, mid height between two open ends.
    pub(crate) fn probe(&self, radius_m: f64, height_m: Option<f64>) -> Probe {
        self.mesh.probe(radius_m, height_m.unwrap_or_else(|| self.slowest_height_m()))
    }

    /// A probe in the wall at the slowest height.
    pub(crate) fn wall_probe(&self) -> Probe {
        self.mesh.wall_probe(self.slowest_height_m())
    }

    fn slowest_height_m(&self) -> f64 {
        if self.mesh.base_open { self.mesh.dz_m * self.mesh.rows as f64 / 2.0 } else { 0.0 }
    }
}

/// A field of cells, row by row from the base, each row from the axis outwards.
#[derive(Debug, Clone)]
pub(crate) struct CellSection {
    pub(crate) radii_m: Vec<f64>,
    pub(crate) heights_m: Vec<f64>,
    pub(crate) t_c: Vec<f64>,
}
