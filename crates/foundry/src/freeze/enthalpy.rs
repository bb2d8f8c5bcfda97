//! One step in time of heat flow in metal and mould, by the enthalpy method.
//!
//! The unknown is the heat content of each cube (Voller, IMA J. Numerical
//! Analysis 5 (1985) 201), so the latent heat needs no moving boundary.
//!
//! Metal conducts up to a thousand times better than the mould, and fills a
//! few hundredths of the box. So the cubes with metal and their neighbours are
//! stepped implicitly (over-relaxed sweeps, red and black, each cube's heat
//! balance solved exactly for its temperature), and all the plain mould
//! explicitly in one pass. What crosses the border between the two sets is
//! counted once, from the old temperatures, so no heat is lost. The step is
//! bounded by the mould's diffusivity alone.

use rayon::prelude::*;

use super::curve::{HeatCurve, Settled};
use super::links::{Links, NONE, PLAIN};
use super::lumps::{Cube, Lumps};
use super::plain::{self, COLD, LIVE_K, Stretch, join};
use super::refusal::FreezeRefusal;
use super::skin::skin_factor;
use super::voxels::Voxels;

/// A sweep is the last when no temperature moves by more than this, in kelvins.
const SETTLED_K: f64 = 2e-3;
/// So many sweeps lie between two shifts of lumps, of which a step has at most so many: what is
/// unsettled by then is where metal begins or ends to freeze, and shifts do not help it.
const SWEEPS_A_SHIFT: usize = 4;
const MOST_SHIFTS: usize = 8;
/// Sweeps after which a step counts as failed.
const MOST_SWEEPS: usize = 2000;

/// Numbers of the two materials, in SI units.
#[derive(Debug, Clone)]
pub(super) struct Materials {
    pub curve: HeatCurve,
    pub solid_w_mk: f64,
    pub liquid_w_mk: f64,
    pub mould_w_mk: f64,
    pub mould_j_m3k: f64,
}

/// What an implicit cube's sweep needs, side by side in memory.
#[derive(Clone, Copy, Default)]
struct Balance {
    /// Heat the cube takes up and passes on per kelvin of its own, J/K.
    slope_j_k: f64,
    /// Heat it holds and gets from plain mould in the step, J.
    sum_j: f64,
    /// Metal in it, m³.
    metal_m3: f64,
    /// Heat that each kelvin of an implicit neighbour brings in the step, J/K;
    /// zero where there is none.
    brings_j_k: [f64; 6],
}

/// The state of metal and mould.
pub(super) struct Heat {
    materials: Materials,
    counts: [usize; 3],
    strides: [usize; 3],
    pitch_m: f64,
    /// Temperatures above the mould's start, all cubes, now and next.
    warm_k: Vec<f32>,
    next_k: Vec<f32>,
    /// For each row along x, the stretch that has been warm so far.
    live: Vec<Stretch>,
    /// The implicit cubes and what joins them.
    pub links: Links,
    conductance_w_k: Vec<[f64; 6]>,
    /// Metal in each implicit cube, m³.
    pub metal_m3: Vec<f64>,
    mould_j_k: Vec<f64>,
    energy_j: Vec<f64>,
    above_k: Vec<f64>,
    liquid: Vec<f64>,
    balances: Vec<Balance>,
    /// Piece of the metal's curve on which each cube stood last.
    pieces: Vec<u8>,
    lumps: Lumps,
    trend_k_s: Vec<f64>,
    relaxation: f64,
    pub seconds: f64,
    /// Sweeps made so far, for measuring.
    pub sweeps: usize,
}

impl Heat {
    /// Metal at its pouring temperature, mould at its own.
    pub(super) fn new(voxels: &Voxels, materials: Materials, pour_above_k: f64) -> Self {
        let grid = voxels.grid;
        let strides = grid.strides();
        let pitch_m = grid.pitch_mm * 1e-3;
        let links = Links::new(voxels);
        let cells = links.cells.len();
        let cube_m3 = pitch_m.powi(3);
        let metal_m3: Vec<f64> = links.metal.iter().map(|&m| f64::from(m) * cube_m3).collect();
        let mould = |&m: &f32| if m > 0.0 { 0.0 } else { cube_m3 * materials.mould_j_m3k };
        let mould_j_k: Vec<f64> = links.metal.iter().map(mould).collect();
        let poured = materials.curve.heat_j_m3(pour_above_k);
        let energy_j: Vec<f64> = metal_m3.iter().map(|v| v * poured).collect();
        let mut heat = Self {
            counts: grid.counts,
            strides,
            pitch_m,
            warm_k: vec![0.0; grid.len()],
            next_k: vec![0.0; grid.len()],
            live: vec![COLD; grid.counts[1] * grid.counts[2]],
            above_k: vec![0.0; cells],
            liquid: vec![0.0; cells],
            balances: vec![Balance::default(); cells],
            pieces: vec![0; cells],
            lumps: Lumps::new(&links, grid.counts),
            trend_k_s: vec![0.0; cells],
            relaxation: 1.0,
            seconds: 0.0,
            sweeps: 0,
            materials,
            links,
            conductance_w_k: vec![[0.0; 6]; cells],
            metal_m3,
            mould_j_k,
            energy_j,
        };
        heat.take_temperatures();
        heat.show_temperatures();
        std::mem::swap(&mut heat.warm_k, &mut heat.next_k);
        heat
    }

    /// Heat content of the metal in a core, J/m³, zero at its solidus.
    pub(super) fn heat_j_m3(&self, i: usize) -> f64 {
        self.energy_j[i] / self.metal_m3[i]
    }

    /// The longest step the plain mould allows, in seconds.
    pub(super) fn longest_step_s(&self) -> f64 {
        self.pitch_m * self.pitch_m * self.materials.mould_j_m3k / (6.0 * self.materials.mould_w_mk)
    }

    /// All heat above the mould's start and the solidus, in joules.
    #[cfg(test)]
    pub(super) fn total_j(&self) -> f64 {
        let implicit: std::collections::HashSet<u32> = self.links.cells.iter().copied().collect();
        let cube = self.pitch_m.powi(3) * self.materials.mould_j_m3k;
        let plain: f64 = (0..self.warm_k.len())
            .filter(|c| !implicit.contains(&(*c as u32)))
            .map(|c| f64::from(self.warm_k[c]) * cube)
            .sum();
        plain + self.energy_j.iter().sum::<f64>()
    }

    /// Moves on by `step_s`.
    pub(super) fn step(&mut self, step_s: f64) -> Result<(), FreezeRefusal> {
        // Entered once a step: from outside, each of its many sweeps would wake the pool anew.
        rayon::scope(|_| self.step_in_pool(step_s))
    }

    fn step_in_pool(&mut self, step_s: f64) -> Result<(), FreezeRefusal> {
        self.step_plain_mould(step_s);
        self.conduct(step_s);
        self.gather(step_s);
        self.settle(step_s)?;
        self.carry_heat();
        self.take_temperatures_with_trend(step_s);
        self.show_temperatures();
        std::mem::swap(&mut self.warm_k, &mut self.next_k);
        self.seconds += step_s;
        Ok(())
    }

    /// Explicit pass over the mould; implicit cubes are overwritten later.
    fn step_plain_mould(&mut self, step_s: f64) {
        let fo = (self.materials.mould_w_mk * step_s
            / (self.materials.mould_j_m3k * self.pitch_m * self.pitch_m)) as f32;
        let next = plain::step(&self.warm_k, &mut self.next_k, &self.live, self.counts, fo);
        self.live = next;
    }

    /// Each implicit cube's balance for the step.
    fn gather(&mut self, step_s: f64) {
        let (warm, strides) = (&self.warm_k, self.strides);
        let (cells, neighbours) = (&self.links.cells, &self.links.neighbours);
        let (conductance, above) = (&self.conductance_w_k, &self.above_k);
        let (mould, energy, metal) = (&self.mould_j_k, &self.energy_j, &self.metal_m3);
        self.balances.par_iter_mut().enumerate().with_min_len(1024).for_each(|(i, balance)| {
            let (mut brings_j_k, mut implicit, mut gained) = ([0.0; 6], 0.0, 0.0);
            for way in 0..6 {
                match neighbours[i][way] {
                    NONE => {}
                    PLAIN => {
                        let stride = strides[way / 2];
                        let cell = cells[i] as usize;
                        let beside = if way % 2 == 0 { cell - stride } else { cell + stride };
                        gained += conductance[i][way] * (f64::from(warm[beside]) - above[i]);
                    }
                    _ => {
                        brings_j_k[way] = step_s * conductance[i][way];
                        implicit += conductance[i][way];
                    }
                }
            }
            *balance = Balance {
                slope_j_k: mould[i] + step_s * implicit,
                sum_j: energy[i] + step_s * gained,
                metal_m3: metal[i],
                brings_j_k,
            };
        });
    }

    /// Sweeps until the temperatures at the end of the step agree.
    fn settle(&mut self, step_s: f64) -> Result<(), FreezeRefusal> {
        let trend = &self.trend_k_s;
        self.above_k.iter_mut().zip(trend).for_each(|(t, k_s)| *t += step_s * k_s);
        let mut before = f64::INFINITY;
        let mut plain_sweeps = 0;
        for sweep in 0..MOST_SWEEPS {
            // Every so often plain sweeps measure how fast errors die away,
            // which gives the best over-relaxation (Young's formula).
            let measuring = self.relaxation == 1.0;
            let change = self.sweep(0).max(self.sweep(1));
            self.sweeps += 1;
            if !change.is_finite() {
                break;
            }
            if change < SETTLED_K * (2.0 - self.relaxation) {
                return Ok(());
            }
            if measuring {
                plain_sweeps += 1;
                if plain_sweeps >= 4 {
                    let decay = (change / before).clamp(0.0, 0.9995);
                    self.relaxation = (2.0 / (1.0 + (1.0 - decay).sqrt())).min(1.95);
                }
            } else if sweep % 200 == 199 {
                self.relaxation = 1.0;
                plain_sweeps = 0;
            }
            before = change;
            if sweep % SWEEPS_A_SHIFT == SWEEPS_A_SHIFT - 1 && sweep < MOST_SHIFTS * SWEEPS_A_SHIFT
            {
                self.shift_lumps();
            }
        }
        Err(FreezeRefusal::NotConverged { seconds: self.seconds, change_k: before })
    }

    /// Shifts each lump of metal as a whole.
    fn shift_lumps(&mut self) {
        let (balances, pieces, curve) = (&self.balances, &self.pieces, &self.materials.curve);
        let neighbours = &self.links.neighbours;
        self.lumps.shift(neighbours, &mut self.above_k, |i, above_k| {
            let balance = &balances[i];
            let mut right = balance.sum_j;
            for (brings, &j) in balance.brings_j_k.iter().zip(&neighbours[i]) {
                right += brings * above_k.get(j as usize).copied().unwrap_or(0.0);
            }
            let brings_j_k = &balance.brings_j_k;
            match curve.on_piece(above_k[i], pieces[i]) {
                Some((heat_j_m3, rise_j_m3k)) => Cube {
                    lacks_j: right - balance.slope_j_k * above_k[i] - balance.metal_m3 * heat_j_m3,
                    takes_j_k: balance.slope_j_k + balance.metal_m3 * rise_j_m3k,
                    brings_j_k,
                },
                // Melting at one temperature it takes up any heat, and stays.
                None => Cube { lacks_j: 0.0, takes_j_k: 1e6 * balance.slope_j_k, brings_j_k },
            }
        });
    }

    /// One colour; returns the largest movement.
    fn sweep(&mut self, colour: usize) -> f64 {
        let reds = self.links.reds;
        let (red, black) = self.above_k.split_at_mut(reds);
        let (own, other, from) = if colour == 0 { (red, &*black, 0) } else { (black, &*red, reds) };
        let curve = &self.materials.curve;
        let relaxation = self.relaxation;
        let until = from + own.len();
        // One stretch for each thread: a sweep is short, and each split costs a part of it.
        let stretch = (own.len() / rayon::current_num_threads()).max(1024);
        own.par_iter_mut()
            .zip(&mut self.pieces[from..until])
            .zip(&self.balances[from..until])
            .zip(&self.links.across[from..until])
            .with_min_len(stretch)
            .fold(
                || 0.0,
                |most: f64, (((t, piece), balance), across)| {
                    let mut right = balance.sum_j;
                    for (&brings, &j) in balance.brings_j_k.iter().zip(across) {
                        // A neighbour that is not implicit brings nothing, whatever stands there.
                        right += brings * other.get(j as usize).copied().unwrap_or(0.0);
                    }
                    let wanted = if balance.metal_m3 > 0.0 {
                        curve.settle_near(balance.slope_j_k, balance.metal_m3, right, piece)
                    } else {
                        right / balance.slope_j_k
                    };
                    let change = wanted - *t;
                    *t += relaxation * change;
                    most.max(change.abs())
                },
            )
            .reduce(|| 0.0, f64::max)
    }

    /// Books what flowed through each face at the settled temperatures; both
    /// sides of a face see the same flow, so heat is kept to rounding.
    fn carry_heat(&mut self) {
        let (neighbours, balances, above) = (&self.links.neighbours, &self.balances, &self.above_k);
        self.energy_j.par_iter_mut().enumerate().with_min_len(1024).for_each(|(i, energy)| {
            let balance = &balances[i];
            let mut gained = 0.0;
            for (brings, &j) in balance.brings_j_k.iter().zip(&neighbours[i]) {
                if j < NONE {
                    gained += brings * (above[j as usize] - above[i]);
                }
            }
            *energy = balance.sum_j + gained;
        });
    }

    /// Temperatures and liquid shares from the heat contents.
    fn take_temperatures(&mut self) {
        let (curve, metal) = (&self.materials.curve, &self.metal_m3);
        let (mould, energy) = (&self.mould_j_k, &self.energy_j);
        self.above_k
            .par_iter_mut()
            .zip(self.liquid.par_iter_mut())
            .enumerate()
            .with_min_len(1024)
            .for_each(|(i, (t, liquid))| {
                let settled = if metal[i] > 0.0 {
                    curve.settle(mould[i], metal[i], energy[i])
                } else {
                    Settled { above_k: energy[i] / mould[i], liquid: 0.0 }
                };
                *t = settled.above_k;
                *liquid = settled.liquid;
            });
    }

    /// The same, and how fast each temperature moves, as the next step's first guess.
    fn take_temperatures_with_trend(&mut self, step_s: f64) {
        self.take_temperatures();
        let (cells, old, above) = (&self.links.cells, &self.warm_k, &self.above_k);
        self.trend_k_s.par_iter_mut().enumerate().with_min_len(1024).for_each(|(i, trend)| {
            *trend = (above[i] - f64::from(old[cells[i] as usize])) / step_s;
        });
    }

    /// Writes the implicit cubes into the next field.
    fn show_temperatures(&mut self) {
        for (i, &cell) in self.links.cells.iter().enumerate() {
            self.next_k[cell as usize] = self.above_k[i] as f32;
            if self.above_k[i].abs() > f64::from(LIVE_K) {
                let (row, x) = (cell as usize / self.counts[0], cell % self.counts[0] as u32);
                self.live[row] = join(self.live[row], (x, x + 1));
            }
        }
    }

    /// Conductances for the step: metal between solid and liquid by the mean
    /// of both cubes, and the mould's skin.
    fn conduct(&mut self, step_s: f64) {
        let m = &self.materials;
        let (solid, liquid) = (m.solid_w_mk, m.liquid_w_mk);
        let plain_w_k = m.mould_w_mk * self.pitch_m;
        let mould_to_metal = m.mould_w_mk / solid;
        // The middle of the step on the scale of √t, on which heat is drawn.
        let root = 0.5 * (self.seconds.sqrt() + (self.seconds + step_s).sqrt());
        let reach_m = 2.0 * root * (m.mould_w_mk / m.mould_j_m3k).sqrt();
        let pitches = self.pitch_m / reach_m;
        let (neighbours, metal_share) = (&self.links.neighbours, &self.links.metal_share);
        let (mixed, gap, wet, pitch_m) =
            (&self.links.mixed, &self.links.gap, &self.liquid, self.pitch_m);
        self.conductance_w_k.par_iter_mut().enumerate().with_min_len(1024).for_each(|(i, g)| {
            for way in 0..6 {
                let share = f64::from(metal_share[i][way]);
                let skin = f64::from(gap[i][way]);
                g[way] = if skin > 0.0 {
                    let metal = (1.0 - skin) * mould_to_metal;
                    plain_w_k / (skin / skin_factor(skin * pitches) + metal)
                } else {
                    plain_w_k * f64::from(mixed[i][way])
                };
                if share > 0.0 {
                    let molten = 0.5 * (wet[i] + wet[neighbours[i][way] as usize]);
                    g[way] += share * pitch_m * (solid + molten * (liquid - solid));
                }
            }
        });
    }
}

#[cfg(test)]
#[path = "enthalpy_tests.rs"]
mod tests;
