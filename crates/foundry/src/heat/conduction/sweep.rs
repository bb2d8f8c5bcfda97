//! One direction made implicit: lines of cells solved by elimination, four abreast.

use super::solver::Solver;

/// Lines solved side by side.
pub(super) const ABREAST: usize = 4;
/// One number for each line.
pub(super) type Lanes = [f64; ABREAST];
/// Rounds in which every cell that left its piece moves at once; two or three are usual.
const BLOCK_ROUNDS: usize = 8;
/// Rounds after which a line is taken not to settle.
const MOST_ROUNDS: usize = 400;
/// A cell this close to the end of its piece is still on it, K.
const SLACK_K: f64 = 1.0e-9;

/// A line's equations were not solved within the rounds allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NotSettled;

impl Solver {
    /// Implicit along the radius.
    pub(super) fn across(&mut self, weight_s: f64, kiln_c: f64) -> Result<(), NotSettled> {
        let (rows, columns) = (self.mesh.rows, self.mesh.columns);
        for first in (0..rows).step_by(ABREAST) {
            let mut settled = false;
            for round in 0..MOST_ROUNDS {
                let (mut factor, mut reduced, mut inward) =
                    ([0.0; ABREAST], [0.0; ABREAST], [0.0; ABREAST]);
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
    pub(super) fn along(&mut self, weight_s: f64, kiln_c: f64) -> Result<(), NotSettled> {
        let rows = self.mesh.rows;
        for first in (0..self.mesh.padded).step_by(ABREAST) {
            let foot: [usize; ABREAST] = std::array::from_fn(|lane| (first + lane) * rows);
            let base: Lanes = std::array::from_fn(|lane| weight_s * self.base_end[first + lane]);
            let mut settled = false;
            for round in 0..MOST_ROUNDS {
                let (mut factor, mut reduced) = ([0.0; ABREAST], [kiln_c; ABREAST]);
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
}

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
