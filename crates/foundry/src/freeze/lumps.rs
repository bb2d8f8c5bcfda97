//! Metal taken together in lumps, so that what all of a section has in common settles at once.
//!
//! Sweeps from cube to cube smooth differences between neighbours quickly and move the heat of a
//! whole section slowly. So now and then each lump of cubes is shifted as one, by as much as
//! balances the heat of all lumps together: two levels of a multigrid by aggregation
//! (V. E. Bulgakov, Communications in Numerical Methods in Engineering 9 (1993) 649; from memory).

use super::links::{Links, NONE};

/// Cubes along the edge of a lump.
const EDGE: usize = 4;
/// Sweeps over the lumps. They are few, and a shift need not be exact: sweeps follow.
const SWEEPS: usize = 24;

/// In place of a lump's number: mould.
const MOULD: u32 = u32::MAX;

/// Which implicit cubes go together.
pub(super) struct Lumps {
    /// The lump of each implicit cube, or [`MOULD`].
    of: Vec<u32>,
    /// The lumps that each one touches.
    beside: Vec<Vec<u32>>,
    /// How much heat a kelvin of each of them brings, J/K, as `beside`.
    brings_j_k: Vec<Vec<f64>>,
    takes_j_k: Vec<f64>,
    lacks_j: Vec<f64>,
    shift_k: Vec<f64>,
}

/// What a cube tells of itself.
pub(super) struct Cube<'a> {
    /// Heat it lacks at its temperature, J.
    pub lacks_j: f64,
    /// Heat that a kelvin of its own takes up and passes on, J/K.
    pub takes_j_k: f64,
    /// Heat that a kelvin of each implicit neighbour brings, J/K.
    pub brings_j_k: &'a [f64; 6],
}

impl Lumps {
    /// Lumps of the metal on a grid with these counts.
    pub(super) fn new(links: &Links, counts: [usize; 3]) -> Self {
        let lumps = counts.map(|count| count.div_ceil(EDGE));
        let mut number = vec![MOULD; lumps.iter().product()];
        let mut count = 0;
        let of: Vec<u32> = links
            .cells
            .iter()
            .zip(&links.metal)
            .map(|(&cell, &metal)| {
                if metal <= 0.0 {
                    return MOULD;
                }
                let cell = cell as usize;
                let at =
                    [cell % counts[0], cell / counts[0] % counts[1], cell / counts[0] / counts[1]]
                        .map(|along| along / EDGE);
                let lump = &mut number[(at[2] * lumps[1] + at[1]) * lumps[0] + at[0]];
                if *lump == MOULD {
                    *lump = count;
                    count += 1;
                }
                *lump
            })
            .collect();
        let mut beside = vec![Vec::new(); count as usize];
        for (i, six) in links.neighbours.iter().enumerate().filter(|(i, _)| of[*i] != MOULD) {
            for &j in six.iter().filter(|&&j| j < NONE) {
                let (own, other) = (of[i] as usize, of[j as usize]);
                if other != MOULD && other != of[i] && !beside[own].contains(&other) {
                    beside[own].push(other);
                }
            }
        }
        let lumps = count as usize;
        Self {
            of,
            brings_j_k: beside.iter().map(|list| vec![0.0; list.len()]).collect(),
            beside,
            takes_j_k: vec![0.0; lumps],
            lacks_j: vec![0.0; lumps],
            shift_k: vec![0.0; lumps],
        }
    }

    /// Shifts the temperatures of the metal, lump by lump.
    pub(super) fn shift<'a>(
        &mut self,
        neighbours: &[[u32; 6]],
        above_k: &mut [f64],
        cube: impl Fn(usize, &[f64]) -> Cube<'a>,
    ) {
        self.takes_j_k.fill(0.0);
        self.lacks_j.fill(0.0);
        self.brings_j_k.iter_mut().for_each(|list| list.fill(0.0));
        for (i, &own) in self.of.iter().enumerate().filter(|(_, own)| **own != MOULD) {
            let told = cube(i, above_k);
            let lump = own as usize;
            self.lacks_j[lump] += told.lacks_j;
            self.takes_j_k[lump] += told.takes_j_k;
            for (&j, &brings) in neighbours[i].iter().zip(told.brings_j_k) {
                if j >= NONE {
                    continue;
                }
                let other = self.of[j as usize];
                if other == own {
                    // Both sides of this face rise together.
                    self.takes_j_k[lump] -= brings;
                } else if let Some(at) = self.beside[lump].iter().position(|&one| one == other) {
                    self.brings_j_k[lump][at] += brings;
                }
            }
        }
        self.shift_k.fill(0.0);
        for _ in 0..SWEEPS {
            for lump in 0..self.shift_k.len() {
                let around = self.beside[lump].iter().zip(&self.brings_j_k[lump]);
                let brought: f64 = around.map(|(&j, g)| g * self.shift_k[j as usize]).sum();
                self.shift_k[lump] = (self.lacks_j[lump] + brought) / self.takes_j_k[lump];
            }
        }
        for (t, &own) in above_k.iter_mut().zip(&self.of).filter(|(_, own)| **own != MOULD) {
            *t += self.shift_k[own as usize];
        }
    }
}
