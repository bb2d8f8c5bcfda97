//! Heat that flows between cells, and between cells and the kiln.

use super::solver::{KilnHeat, Solver};
use super::surface::through;

impl Solver {
    /// Conductances between cells, with conductivities a part of a step ahead.
    pub(super) fn conduct(&mut self, ahead: f64) {
        if self.constant_conductivity && self.contact_ready {
            return;
        }
        self.contact_ready = true;
        let mesh = &self.mesh;
        let rows = mesh.rows;
        for cell in 0..mesh.columns * rows {
            let t = self.t_c[cell] + ahead * (self.t_c[cell] - self.before_c[cell]);
            self.resistivity_mk_w[cell] = self.resistivities[self.kind[cell] as usize].at(t);
        }
        let over_dz = 2.0 / (mesh.dz_m * mesh.dz_m);
        for column in 0..mesh.columns {
            let range = column * rows..(column + 1) * rows;
            let own = &self.resistivity_mk_w[range.clone()];
            let up = &mut self.upward[range.clone()];
            for (up, pair) in up.iter_mut().zip(own.windows(2)) {
                *up = over_dz / (pair[0] + pair[1]);
            }
            let out = &mut self.outward[range.clone()];
            if column + 1 < mesh.radial {
                let next = &self.resistivity_mk_w[range.end..range.end + rows];
                let at_edge = 2.0 * (column as f64 + 1.0);
                for (out, (own, next)) in out.iter_mut().zip(own.iter().zip(next)) {
                    *out = at_edge / (own + next);
                }
            } else if column + 1 < mesh.columns {
                let at_edge = mesh.inside_m / (mesh.dr_m / 2.0);
                for (out, own) in out.iter_mut().zip(own) {
                    *out = at_edge / own;
                }
            }
        }
    }

    /// Exchange with the kiln at the end of the step, on top and base also at its beginning.
    pub(super) fn exchange(&mut self, ahead: f64, kiln: KilnHeat) {
        let mesh = &self.mesh;
        let rows = mesh.rows;
        let surface = self.surface;
        let side = mesh.columns - 1;
        let bare = mesh.columns == mesh.radial;
        for row in 0..rows {
            let cell = side * rows + row;
            let t = self.t_c[cell] + ahead * (self.t_c[cell] - self.before_c[cell]);
            let inner =
                if bare { 2.0 / (mesh.dr_m * self.resistivity_mk_w[cell]) } else { f64::INFINITY };
            self.outward[cell] = mesh.outside_m * through(surface, inner, t, kiln.end_c);
        }
        let conducting = |resistivity: f64| 2.0 / (mesh.dz_m * resistivity);
        for column in 0..mesh.columns {
            let top = column * rows + rows - 1;
            let inner = conducting(self.resistivity_mk_w[top]);
            let (t, change) = (self.t_c[top], self.t_c[top] - self.before_c[top]);
            self.top_now[column] = through(surface, inner, t, kiln.now_c) / mesh.dz_m;
            self.upward[top] = through(surface, inner, t + ahead * change, kiln.end_c) / mesh.dz_m;
            if mesh.base_open {
                let base = column * rows;
                let inner = conducting(self.resistivity_mk_w[base]);
                let (t, change) = (self.t_c[base], self.t_c[base] - self.before_c[base]);
                self.base_now[column] = through(surface, inner, t, kiln.now_c) / mesh.dz_m;
                self.base_end[column] =
                    through(surface, inner, t + ahead * change, kiln.end_c) / mesh.dz_m;
            }
        }
    }

    /// `heat` = what each cell receives along the height in `weight_s`, as of now.
    pub(super) fn heat_along(&mut self, weight_s: f64, kiln_c: f64) {
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
}
