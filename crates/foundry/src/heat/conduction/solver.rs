//! The time step.

use super::curves::{Curves, Span};
use super::mesh::{Mesh, Probe};
use crate::heat::body::{Convection, FlaskBody, Grid, Surface};
use crate::heat::material::lookup;
use crate::heat::refusal::HeatRefusal;

/// Lines solved side by side.
const ABREAST: usize = 4;
type Lanes = [f64; ABREAST];
/// Rounds in which every cell that left its piece moves at once; two or three are usual.
const BLOCK_ROUNDS: usize = 8;
/// Rounds after which a line is taken not to settle.
const MOST_ROUNDS: usize = 400;
/// A cell this close to the end of its piece is still on it, K.
const SLACK_K: f64 = 1.0e-9;
/// Stefan and Boltzmann's constant, W/(m²·K⁴), exact in the SI of 2019.
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Celsius to kelvin.
const KELVIN: f64 = 273.15;

/// The kiln's temperature at the beginning and the end of a step, °C.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KilnHeat {
    pub(crate) now_c: f64,
    pub(crate) end_c: f64,
}

/// Conductivity at steps of [`TABLE_STEP_C`] from [`TABLE_FOOT_C`].
#[derive(Debug, Clone)]
struct Conductivity {
    values: Vec<f64>,
}

const TABLE_FOOT_C: f64 = -60.0;
const TABLE_STEP_C: f64 = 5.0;
const TABLE_LENGTH: usize = 320;

impl Conductivity {
    fn new(of: impl Fn(f64) -> f64) -> Self {
        let values =
            (0..TABLE_LENGTH).map(|n| of(TABLE_FOOT_C + n as f64 * TABLE_STEP_C)).collect();
        Self { values }
    }

    fn at(&self, t: f64) -> f64 {
        let place = ((t - TABLE_FOOT_C) / TABLE_STEP_C).clamp(0.0, (TABLE_LENGTH - 2) as f64);
        let low = place as usize;
        let part = place - low as f64;
        self.values[low] + (self.values[low + 1] - self.values[low]) * part
    }
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
    mesh: Mesh,
    surface: Surface,
    curves: Curves,
    spans: [Option<Span>; 5],
    conductivities: Vec<Conductivity>,
    fired_from_c: f64,
    constant_conductivity: bool,
    contact_ready: bool,
    kind: Vec<u8>,
    piece: Vec<usize>,
    low: Vec<f64>,
    high: Vec<f64>,
    slope: Vec<f64>,
    offset: Vec<f64>,
    t_c: Vec<f64>,
    before_c: Vec<f64>,
    h_j_m3: Vec<f64>,
    h_before_j_m3: Vec<f64>,
    heat: Vec<f64>,
    right: Vec<f64>,
    k_w_mk: Vec<f64>,
    /// Conductance to the next column for one radian and metre of height; last column: to the kiln.
    outward: Vec<f64>,
    /// Conductance to the next row per volume; last row: to the kiln at the end of the step.
    upward: Vec<f64>,
    /// Conductance of each column's top to the kiln per volume at the beginning of the step.
    top_now: Vec<f64>,
    base_now: Vec<f64>,
    base_end: Vec<f64>,
    /// Elimination: factors and right-hand sides of the lines under way.
    factor: Vec<Lanes>,
    reduced: Vec<Lanes>,
    last_dt_s: f64,
    /// Heat taken up in the last step, J.
    taken_j: f64,
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
        let conductivities = vec![
            Conductivity::new(wet),
            Conductivity::new(dry),
            Conductivity::new(|t| with_voids(wet(t), hollow, t)),
            Conductivity::new(|t| with_voids(dry(t), hollow, t)),
            Conductivity::new(|_| body.wall.map_or(1.0, |wall| wall.conductivity_w_mk)),
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
            k_w_mk: vec![1.0; cells],
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
            mesh,
            curves,
            spans,
            conductivities,
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

    fn take_piece(&mut self, cell: usize, piece: usize) {
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
        self.mark_fired();
        self.last_dt_s = dt_s;
        Ok(())
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

    /// Conductances between cells, with conductivities a part of a step ahead.
    fn conduct(&mut self, ahead: f64) {
        if self.constant_conductivity && self.contact_ready {
            return;
        }
        self.contact_ready = true;
        let mesh = &self.mesh;
        let rows = mesh.rows;
        for cell in 0..mesh.columns * rows {
            let t = self.t_c[cell] + ahead * (self.t_c[cell] - self.before_c[cell]);
            self.k_w_mk[cell] = self.conductivities[self.kind[cell] as usize].at(t);
        }
        for column in 0..mesh.columns {
            for row in 0..rows {
                let cell = column * rows + row;
                let k = self.k_w_mk[cell];
                if row + 1 < rows {
                    let k_next = self.k_w_mk[cell + 1];
                    self.upward[cell] = 2.0 * k * k_next / ((k + k_next) * mesh.dz_m * mesh.dz_m);
                }
                if column + 1 < mesh.radial {
                    let k_next = self.k_w_mk[cell + rows];
                    self.outward[cell] = (column as f64 + 1.0) * 2.0 * k * k_next / (k + k_next);
                } else if column + 1 < mesh.columns {
                    self.outward[cell] = mesh.inside_m * k / (mesh.dr_m / 2.0);
                }
            }
        }
    }

    /// Exchange with the kiln at the end of the step, on top and base also at its beginning.
    fn exchange(&mut self, ahead: f64, kiln: KilnHeat) {
        let mesh = &self.mesh;
        let rows = mesh.rows;
        let surface = self.surface;
        let side = mesh.columns - 1;
        let bare = mesh.columns == mesh.radial;
        for row in 0..rows {
            let cell = side * rows + row;
            let t = self.t_c[cell] + ahead * (self.t_c[cell] - self.before_c[cell]);
            let inner = if bare { 2.0 * self.k_w_mk[cell] / mesh.dr_m } else { f64::INFINITY };
            self.outward[cell] = mesh.outside_m * through(surface, inner, t, kiln.end_c);
        }
        let conducting = |k: f64| 2.0 * k / mesh.dz_m;
        for column in 0..mesh.columns {
            let top = column * rows + rows - 1;
            let inner = conducting(self.k_w_mk[top]);
            let (t, change) = (self.t_c[top], self.t_c[top] - self.before_c[top]);
            self.top_now[column] = through(surface, inner, t, kiln.now_c) / mesh.dz_m;
            self.upward[top] = through(surface, inner, t + ahead * change, kiln.end_c) / mesh.dz_m;
            if mesh.base_open {
                let base = column * rows;
                let inner = conducting(self.k_w_mk[base]);
                let (t, change) = (self.t_c[base], self.t_c[base] - self.before_c[base]);
                self.base_now[column] = through(surface, inner, t, kiln.now_c) / mesh.dz_m;
                self.base_end[column] =
                    through(surface, inner, t + ahead * change, kiln.end_c) / mesh.dz_m;
            }
        }
    }

    /// `heat` = what each cell receives along the height in `weight_s`, as of now.
    fn heat_along(&mut self, weight_s: f64, kiln_c: f64) {
        let rows = self.mesh.rows;
        for column in 0..self.mesh.columns {
            let range = column * rows..(column + 1) * rows;
            let t = &self.t_c[range.clone()];
            let up = &self.upward[range.clone()];
            let heat = &mut self.heat[range];
            let mut from_below = self.base_now[column] * (kiln_c - t[0]);
            for row in 0..rows - 1 {
                let to_above = up[row] * (t[row] - t[row + 1]);
                heat[row] = weight_s * (from_below - to_above);
                from_below = to_above;
            }
            let to_above = self.top_now[column] * (t[rows - 1] - kiln_c);
            heat[rows - 1] = weight_s * (from_below - to_above);
        }
    }

    /// Implicit along the radius.
    fn across(&mut self, weight_s: f64, kiln_c: f64) -> Result<(), NotSettled> {
        let (rows, columns) = (self.mesh.rows, self.mesh.columns);
        for first in (0..rows).step_by(ABREAST) {
            let mut settled = false;
            for round in 0..MOST_ROUNDS {
                let (mut factor, mut reduced, mut inward) = ([0.0; 4], [0.0; 4], [0.0; 4]);
                for column in 0..columns {
                    let at = column * rows + first;
                    let area = self.mesh.area_m2[column];
                    let outward: &[f64] = &self.outward[at..at + ABREAST];
                    let slope: &[f64] = &self.slope[at..at + ABREAST];
                    let offset: &[f64] = &self.offset[at..at + ABREAST];
                    let right: &[f64] = &self.right[at..at + ABREAST];
                    for lane in 0..ABREAST {
                        let out = weight_s * outward[lane];
                        let within: f64 = inward[lane];
                        let pivot =
                            1.0 / (area * slope[lane] + out + within * (1.0 - factor[lane]));
                        let value = area * (right[lane] - offset[lane]) + within * reduced[lane];
                        factor[lane] = out * pivot;
                        reduced[lane] = value * pivot;
                        inward[lane] = out;
                    }
                    self.factor[column] = factor;
                    self.reduced[column] = reduced;
                }
                let mut beyond = [kiln_c; ABREAST];
                let mut moved = false;
                for column in (0..columns).rev() {
                    let at = column * rows + first;
                    moved |= back(
                        &self.factor[column],
                        &self.reduced[column],
                        &mut beyond,
                        &mut self.t_c[at..at + ABREAST],
                        &self.low[at..at + ABREAST],
                        &self.high[at..at + ABREAST],
                    );
                }
                if !moved {
                    settled = true;
                    break;
                }
                for lane in 0..ABREAST {
                    self.move_pieces(first + lane, rows, columns, round);
                }
            }
            if !settled {
                return Err(NotSettled);
            }
        }
        self.enthalpies();
        Ok(())
    }

    /// Implicit along the height.
    fn along(&mut self, weight_s: f64, kiln_c: f64) -> Result<(), NotSettled> {
        let rows = self.mesh.rows;
        for first in (0..self.mesh.padded).step_by(ABREAST) {
            let foot: [usize; ABREAST] = std::array::from_fn(|lane| (first + lane) * rows);
            let base: Lanes = std::array::from_fn(|lane| weight_s * self.base_end[first + lane]);
            let mut settled = false;
            for round in 0..MOST_ROUNDS {
                let (mut factor, mut reduced) = ([0.0; 4], [kiln_c; 4]);
                let mut below = base;
                for row in 0..rows {
                    for lane in 0..ABREAST {
                        let cell = foot[lane] + row;
                        let up = weight_s * self.upward[cell];
                        let under = below[lane];
                        let pivot = 1.0 / (self.slope[cell] + up + under * (1.0 - factor[lane]));
                        let value = self.right[cell] - self.offset[cell] + under * reduced[lane];
                        factor[lane] = up * pivot;
                        reduced[lane] = value * pivot;
                        below[lane] = up;
                    }
                    self.factor[row] = factor;
                    self.reduced[row] = reduced;
                }
                let mut above = [kiln_c; ABREAST];
                let mut moved = false;
                for row in (0..rows).rev() {
                    for lane in 0..ABREAST {
                        let cell = foot[lane] + row;
                        let t = self.reduced[row][lane] + self.factor[row][lane] * above[lane];
                        above[lane] = t;
                        self.t_c[cell] = t;
                        moved |= t < self.low[cell] - SLACK_K || t > self.high[cell] + SLACK_K;
                    }
                }
                if !moved {
                    settled = true;
                    break;
                }
                for foot in foot {
                    self.move_pieces(foot, 1, rows, round);
                }
            }
            if !settled {
                return Err(NotSettled);
            }
        }
        self.enthalpies();
        Ok(())
    }

    /// Moves cells of a line that left their piece to the neighbouring one: all of them in the
    /// first rounds, after that only the first of the line, which cannot go round in circles
    /// because the equations have one solution and positive principal minors (K. G. Murty, Note
    /// on a Bard-type scheme for solving the complementarity problem, Opsearch 11 (1974)).
    fn move_pieces(&mut self, first: usize, stride: usize, cells: usize, round: usize) {
        for cell in (first..first + stride * cells).step_by(stride) {
            let t = self.t_c[cell];
            if t > self.high[cell] + SLACK_K {
                self.take_piece(cell, self.piece[cell] + 1);
            } else if t < self.low[cell] - SLACK_K {
                self.take_piece(cell, self.piece[cell] - 1);
            } else {
                continue;
            }
            if round >= BLOCK_ROUNDS {
                return;
            }
        }
    }

    fn enthalpies(&mut self) {
        let cells = self.mesh.columns * self.mesh.rows;
        let pairs = self.slope[..cells].iter().zip(&self.offset[..cells]).zip(&self.t_c[..cells]);
        for (h, ((slope, offset), t)) in self.h_j_m3[..cells].iter_mut().zip(pairs) {
            *h = offset + slope * t;
        }
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

/// A line's equations were not solved within the rounds allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NotSettled;

#[inline]
fn back(
    factor: &Lanes,
    reduced: &Lanes,
    beyond: &mut Lanes,
    t: &mut [f64],
    low: &[f64],
    high: &[f64],
) -> bool {
    let mut moved = false;
    for lane in 0..ABREAST {
        let value = reduced[lane] + factor[lane] * beyond[lane];
        beyond[lane] = value;
        t[lane] = value;
        moved |= value < low[lane] - SLACK_K || value > high[lane] + SLACK_K;
    }
    moved
}

/// Coefficient from the middle of a cell through its surface to the kiln, W/(m²·K).
///
/// `inner` is the cell's own conductance to its surface; the surface lies between cell and kiln,
/// which decides how much it radiates.
fn through(surface: Surface, inner: f64, cell_c: f64, kiln_c: f64) -> f64 {
    if inner.is_infinite() {
        return coefficient(surface, cell_c, kiln_c);
    }
    let mut at_surface = cell_c;
    let mut outer = coefficient(surface, at_surface, kiln_c);
    if surface.emissivity > 0.0 || matches!(surface.convection, Convection::Still(_)) {
        // The coefficient changes slowly with the surface: twice round leaves less than 0.1 %.
        for _ in 0..2 {
            at_surface = (inner * cell_c + outer * kiln_c) / (inner + outer);
            outer = coefficient(surface, at_surface, kiln_c);
        }
    }
    inner * outer / (inner + outer)
}

/// Coefficient of radiation and convection between a surface and the kiln, W/(m²·K).
fn coefficient(surface: Surface, surface_c: f64, kiln_c: f64) -> f64 {
    let convection = match surface.convection {
        Convection::Constant(h) => h,
        Convection::Still(h) => h * ((kiln_c - surface_c).abs() / 100.0).sqrt().sqrt(),
    };
    let (a, b) = (surface_c + KELVIN, kiln_c + KELVIN);
    convection + surface.emissivity * STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)
}

/// Conductivity of a solid with hollows: Maxwell's formula for spheres, with radiation across
/// hollows 3 mm wide.
///
/// # Source
/// J. C. Maxwell, A Treatise on Electricity and Magnetism, 1873, art. 314 (from memory). The width
/// of a hollow is assumed: a typical section of a small casting.
fn with_voids(solid: f64, hollow: f64, t: f64) -> f64 {
    const WIDTH_M: f64 = 0.003;
    const AIR_W_MK: f64 = 0.04;
    let absolute = t + KELVIN;
    let void = AIR_W_MK + 4.0 * STEFAN_BOLTZMANN * absolute.powi(3) * WIDTH_M;
    let (above, below) = (void + 2.0 * solid, solid - void);
    solid * (above - 2.0 * hollow * below) / (above + hollow * below)
}
