//! Liquid that is cut off from its feed.
//!
//! Cubes are joined in the order in which they stop feeding, the last first.
//! Each local maximum starts a body of liquid of its own; going back in time
//! the bodies grow and meet. Where one without a button meets one with a
//! button, that is the moment, seen forward in time, at which it was cut off:
//! from then on its shrinkage is fed by nothing. Where two bodies without a
//! button meet first, they were cut off together and count as one.

use super::freezing::{Freezing, MetalVoxel};
use super::material::Spread;
use super::shape::Part;

/// A body of liquid that lost its feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Pocket {
    /// Its last place to freeze, mm.
    pub at_mm: [f64; 3],
    /// When it was cut off, s; zero when no feed ever reached it.
    pub cut_off_s: f64,
    /// When it stopped feeding itself at its last place, s.
    pub until_s: f64,
    /// Metal in it at that moment, mm³.
    pub volume_mm3: f64,
    /// The part of that metal that belongs to the piece, mm³.
    pub in_piece_mm3: f64,
    /// Liquid in it at that moment, mm³.
    pub liquid_mm3: f64,
    /// Voids to expect from its shrinkage, mm³.
    pub porosity_mm3: Porosity,
}

/// Expected volume of shrinkage voids, with its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Porosity {
    /// With the lowest shrinkage, and only what had not frozen yet.
    pub low: f64,
    /// With the usual shrinkage.
    pub usual: f64,
    /// With the highest shrinkage, were the whole pocket still liquid.
    pub high: f64,
}

/// What is too small or too brief to tell from the error of the calculation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Floor {
    /// Share of a place's freezing time by which it must outlast its
    /// surroundings.
    pub share_of_time: f64,
    /// Voids smaller than a ball of this diameter are left out, mm.
    pub void_mm: f64,
    /// Cubes a pocket must have at least.
    pub cubes: usize,
}

impl Default for Floor {
    /// 2 % of the time (twice the error at usual pitches, see the tests), a
    /// void of 0.2 mm (about what polishing opens and the eye finds; common
    /// practice, no source), 4 cubes.
    fn default() -> Self {
        Self { share_of_time: 0.02, void_mm: 0.2, cubes: 4 }
    }
}

impl Floor {
    fn void_mm3(&self) -> f64 {
        std::f64::consts::PI / 6.0 * self.void_mm.powi(3)
    }
}

/// A body of liquid while bodies are being joined.
#[derive(Debug, Clone, Copy)]
struct Body {
    peak: u32,
    fed: bool,
    cubes: usize,
    volume: f64,
    piece: f64,
}

/// Finds the pockets, the largest loss first.
///
/// `shrinkage` is the share of its volume that liquid loses in freezing. Feed
/// comes from buttons; without any, every body of liquid is a pocket.
#[must_use]
pub fn pockets(freezing: &Freezing, shrinkage: &Spread, floor: &Floor) -> Vec<Pocket> {
    let voxels = &freezing.voxels;
    let times: Vec<f32> = voxels.iter().map(|v| v.feeds_until_s).collect();
    let mut order: Vec<u32> = (0..voxels.len() as u32).collect();
    order.sort_by(|&a, &b| times[b as usize].total_cmp(&times[a as usize]));
    let touching = Touching::new(voxels.len(), &freezing.touching);
    let mut parent: Vec<u32> = (0..voxels.len() as u32).collect();
    let mut bodies: Vec<Body> = voxels.iter().enumerate().map(|(i, v)| body(i, v)).collect();
    let mut joined = vec![false; voxels.len()];
    let mut cuts: Vec<(Body, f64, u32)> = Vec::new();
    for &new in &order {
        joined[new as usize] = true;
        let now = f64::from(times[new as usize]);
        for &beside in touching.of(new) {
            if !joined[beside as usize] {
                continue;
            }
            let (a, b) = (root(&mut parent, new), root(&mut parent, beside));
            if a == b {
                continue;
            }
            let (ours, theirs) = (bodies[a as usize], bodies[b as usize]);
            if ours.fed != theirs.fed {
                let (lost, at) = if ours.fed { (theirs, b) } else { (ours, a) };
                if lost.cubes >= floor.cubes {
                    cuts.push((lost, now, at));
                }
            }
            let later = times[theirs.peak as usize] > times[ours.peak as usize];
            parent[a as usize] = b;
            bodies[b as usize] = Body {
                peak: if later { theirs.peak } else { ours.peak },
                fed: ours.fed || theirs.fed,
                cubes: ours.cubes + theirs.cubes,
                volume: ours.volume + theirs.volume,
                piece: ours.piece + theirs.piece,
            };
        }
    }
    // Bodies that never met a feed at all.
    for i in 0..voxels.len() as u32 {
        let body = bodies[i as usize];
        if parent[i as usize] == i && !body.fed && body.cubes >= floor.cubes {
            cuts.push((body, 0.0, i));
        }
    }
    let mut found: Vec<Pocket> = cuts
        .into_iter()
        .filter(|(body, cut_s, _)| {
            let until = f64::from(times[body.peak as usize]);
            body.piece > 0.0 && until - cut_s > floor.share_of_time * until
        })
        .map(|(body, cut_s, _)| describe(freezing, &touching, shrinkage, body, cut_s))
        .filter(|pocket| pocket.porosity_mm3.high > floor.void_mm3())
        .collect();
    found.sort_by(|a, b| b.porosity_mm3.usual.total_cmp(&a.porosity_mm3.usual));
    found
}

fn body(number: usize, voxel: &MetalVoxel) -> Body {
    Body {
        peak: number as u32,
        fed: voxel.part == Part::Button,
        cubes: 1,
        volume: f64::from(voxel.metal_mm3),
        piece: f64::from(voxel.piece_mm3),
    }
}

/// Walks the pocket as it was when cut off and sums its liquid.
fn describe(
    freezing: &Freezing,
    touching: &Touching,
    shrinkage: &Spread,
    body: Body,
    cut_off_s: f64,
) -> Pocket {
    let voxels = &freezing.voxels;
    let mut seen = std::collections::HashSet::from([body.peak]);
    let mut ahead = vec![body.peak];
    let mut liquid_mm3 = 0.0;
    while let Some(next) = ahead.pop() {
        let voxel = &voxels[next as usize];
        let share = liquid_at(voxel, freezing.feeds_until_solid, cut_off_s);
        liquid_mm3 += share * f64::from(voxel.metal_mm3);
        for &beside in touching.of(next) {
            let later = f64::from(voxels[beside as usize].feeds_until_s) > cut_off_s;
            if later && seen.insert(beside) {
                ahead.push(beside);
            }
        }
    }
    let peak = &voxels[body.peak as usize];
    Pocket {
        at_mm: freezing.grid.centre_mm(peak.index as usize),
        cut_off_s,
        until_s: f64::from(peak.feeds_until_s),
        volume_mm3: body.volume,
        in_piece_mm3: body.piece,
        liquid_mm3,
        porosity_mm3: Porosity {
            low: shrinkage.low * liquid_mm3 * freezing.feeds_until_solid,
            usual: shrinkage.usual * liquid_mm3,
            high: shrinkage.high * body.volume,
        },
    }
}

/// Share of liquid in a cube at a time, straight between the two times noted.
fn liquid_at(voxel: &MetalVoxel, feeds_until_solid: f64, seconds: f64) -> f64 {
    let (from, to) = (f64::from(voxel.begins_s), f64::from(voxel.feeds_until_s));
    if seconds <= from || !to.is_finite() {
        return 1.0;
    }
    let share = ((seconds - from) / (to - from).max(1e-9)).min(1.0);
    1.0 - feeds_until_solid * share
}

fn root(parent: &mut [u32], mut of: u32) -> u32 {
    while parent[of as usize] != of {
        parent[of as usize] = parent[parent[of as usize] as usize];
        of = parent[of as usize];
    }
    of
}

/// Neighbours of each cube through metal.
struct Touching {
    starts: Vec<u32>,
    others: Vec<u32>,
}

impl Touching {
    fn new(count: usize, pairs: &[(u32, u32)]) -> Self {
        let mut starts = vec![0_u32; count + 1];
        for &(a, b) in pairs {
            starts[a as usize + 1] += 1;
            starts[b as usize + 1] += 1;
        }
        for i in 0..count {
            starts[i + 1] += starts[i];
        }
        let mut next = starts.clone();
        let mut others = vec![0_u32; 2 * pairs.len()];
        for &(a, b) in pairs {
            for (from, to) in [(a, b), (b, a)] {
                others[next[from as usize] as usize] = to;
                next[from as usize] += 1;
            }
        }
        Self { starts, others }
    }

    fn of(&self, cube: u32) -> &[u32] {
        let i = cube as usize;
        &self.others[self.starts[i] as usize..self.starts[i + 1] as usize]
    }
}
