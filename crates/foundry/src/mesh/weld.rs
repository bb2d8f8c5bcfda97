//! Makes one point of points that coincide.

use std::hash::{BuildHasher as _, RandomState};

use super::{Mesh, Point};

/// Collects points, giving equal ones the same index.
///
/// A table of indices with open addressing: four bytes a slot, at least half of
/// them empty, and the points themselves are stored once, in the mesh to be.
pub(crate) struct Welder {
    vertices: Vec<Point>,
    slots: Vec<u32>,
    seed: u64,
}

const FREE: u32 = u32::MAX;

impl Welder {
    /// An empty collection for about so many points.
    ///
    /// The slots are seeded anew each time, so that nobody can prepare a file whose
    /// points all fall into the same one; indices do not depend on the seed.
    pub(crate) fn new(expected: usize) -> Self {
        let seed = RandomState::new().hash_one(expected);
        let slots = (expected.max(8) * 2).next_power_of_two();
        Self { vertices: Vec::with_capacity(expected), slots: vec![FREE; slots], seed }
    }

    /// The index of a finite point, adding it when it is new. Minus zero counts as zero.
    pub(crate) fn index(&mut self, point: Point) -> u32 {
        let point = point.map(|coordinate| coordinate + 0.0);
        self.index_hashed(point, hash(point, self.seed))
    }

    /// The indices of several finite points; otherwise as [`Welder::index`].
    ///
    /// Most points are known already, and where they stand in memory is far apart. They
    /// are asked for all at once, so that their ways from memory overlap.
    pub(crate) fn indices<const N: usize>(&mut self, mut points: [Point; N]) -> [u32; N] {
        let mut hashes = [0; N];
        let mut held = [FREE; N];
        let mask = self.slots.len() - 1;
        for at in 0..N {
            points[at] = points[at].map(|coordinate| coordinate + 0.0);
            hashes[at] = hash(points[at], self.seed);
            held[at] = self.slots[hashes[at] as usize & mask];
        }
        let mut known = [false; N];
        for at in 0..N {
            known[at] = self.vertices.get(held[at] as usize) == Some(&points[at]);
        }
        for at in 0..N {
            if !known[at] {
                held[at] = self.index_hashed(points[at], hashes[at]);
            }
        }
        held
    }

    fn index_hashed(&mut self, point: Point, hash: u64) -> u32 {
        let mask = self.slots.len() - 1;
        let mut slot = hash as usize & mask;
        loop {
            let held = self.slots[slot];
            if held == FREE {
                break;
            }
            if self.vertices[held as usize] == point {
                return held;
            }
            slot = (slot + 1) & mask;
        }
        let index = self.vertices.len() as u32;
        self.slots[slot] = index;
        self.vertices.push(point);
        if self.vertices.len() * 2 > self.slots.len() {
            self.grow();
        }
        index
    }

    fn grow(&mut self) {
        let mask = self.slots.len() * 2 - 1;
        self.slots = vec![FREE; mask + 1];
        for (index, &point) in self.vertices.iter().enumerate() {
            let mut slot = hash(point, self.seed) as usize & mask;
            while self.slots[slot] != FREE {
                slot = (slot + 1) & mask;
            }
            self.slots[slot] = index as u32;
        }
    }

    /// The points collected, each once, in the order they came.
    pub(crate) fn into_vertices(self) -> Vec<Point> {
        let mut vertices = self.vertices;
        vertices.shrink_to_fit();
        vertices
    }
}

/// Mixes the bits of three numbers by folded multiplication.
fn hash(point: Point, seed: u64) -> u64 {
    let [x, y, z] = point.map(f64::to_bits);
    fold(fold(x ^ seed, y ^ 0x9e37_79b9_7f4a_7c15), z ^ 0xd1b5_4a32_d192_ed03)
}

fn fold(a: u64, b: u64) -> u64 {
    let product = u128::from(a ^ 0xa076_1d64_78bd_642f) * u128::from(b | 1);
    (product as u64) ^ ((product >> 64) as u64)
}

impl Mesh {
    /// The same surface with points of exactly equal coordinates made one, and
    /// points that no triangle uses left out.
    #[must_use]
    pub fn welded(&self) -> Self {
        let mut welder = Welder::new(self.vertices().len().min(self.triangles().len() * 3));
        let mut renamed = vec![FREE; self.vertices().len()];
        let triangles = self
            .triangles()
            .iter()
            .map(|triangle| {
                triangle.map(|old| {
                    let new = &mut renamed[old as usize];
                    if *new == FREE {
                        *new = welder.index(self.vertices()[old as usize]);
                    }
                    *new
                })
            })
            .collect();
        Self::trusted(welder.into_vertices(), triangles)
    }
}
