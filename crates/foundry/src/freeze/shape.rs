//! What is filled with metal: the piece, its sprues and their buttons.

use super::refusal::{FreezeRefusal, within};

/// Which part of the tree a voxel belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The piece itself.
    Piece,
    /// A sprue.
    Sprue,
    /// The button or trunk at a sprue's far end, from which the piece is fed.
    Button,
}

/// A round rod of metal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rod {
    /// Middle of the near end, in millimetres.
    pub from_mm: [f64; 3],
    /// Direction of the axis, of length one.
    pub along: [f64; 3],
    /// Length, in millimetres.
    pub length_mm: f64,
    /// Diameter, in millimetres.
    pub diameter_mm: f64,
    /// Sprue or button.
    pub part: Part,
}

impl Rod {
    /// Whether a point lies in the rod.
    #[must_use]
    pub fn contains(&self, point_mm: [f64; 3]) -> bool {
        let off = sub(point_mm, self.from_mm);
        let along = dot(off, self.along);
        let square = dot(off, off) - along * along;
        along >= 0.0 && along <= self.length_mm && square <= 0.25 * self.diameter_mm.powi(2)
    }

    /// The box around the rod.
    #[must_use]
    pub fn bounds_mm(&self) -> ([f64; 3], [f64; 3]) {
        let to = add(self.from_mm, scale(self.along, self.length_mm));
        let reach: [f64; 3] = std::array::from_fn(|a| {
            0.5 * self.diameter_mm * (1.0 - self.along[a] * self.along[a]).max(0.0).sqrt()
        });
        (
            std::array::from_fn(|a| self.from_mm[a].min(to[a]) - reach[a]),
            std::array::from_fn(|a| self.from_mm[a].max(to[a]) + reach[a]),
        )
    }

    /// The stretch of a line parallel to an axis that lies in the rod.
    ///
    /// `through_mm` is a point of the line; the answer counts from it.
    pub(super) fn stretch_mm(&self, axis: usize, through_mm: [f64; 3]) -> Option<(f64, f64)> {
        let off = sub(through_mm, self.from_mm);
        let slope = self.along[axis];
        let start = dot(off, self.along);
        // Between the two end planes.
        let (mut from, mut to) = if slope.abs() < 1e-9 {
            if start < 0.0 || start > self.length_mm {
                return None;
            }
            (f64::NEG_INFINITY, f64::INFINITY)
        } else {
            let (a, b) = (-start / slope, (self.length_mm - start) / slope);
            (a.min(b), a.max(b))
        };
        // Within the mantle: |off + s·e|² − (along part)² ≤ r².
        let radius_square = 0.25 * self.diameter_mm * self.diameter_mm;
        let square = 1.0 - slope * slope;
        let half = off[axis] - start * slope;
        let rest = dot(off, off) - start * start - radius_square;
        if square < 1e-9 {
            if rest > 0.0 {
                return None;
            }
        } else {
            let inner = half * half - square * rest;
            if inner <= 0.0 {
                return None;
            }
            let root = inner.sqrt();
            from = from.max((-half - root) / square);
            to = to.min((-half + root) / square);
        }
        (to > from).then_some((from, to))
    }
}

/// A closed mesh and the rods joined to it.
#[derive(Debug, Clone, Copy)]
pub struct Shape<'a> {
    /// Corners of the mesh, in millimetres.
    pub vertices_mm: &'a [[f64; 3]],
    /// Triangles, by number of their corners.
    pub triangles: &'a [[u32; 3]],
    /// Sprues and buttons.
    pub rods: &'a [Rod],
}

impl Shape<'_> {
    /// Checks numbers and indices, and returns the box around everything.
    pub fn bounds_mm(&self) -> Result<([f64; 3], [f64; 3]), FreezeRefusal> {
        if self.triangles.is_empty() {
            return Err(FreezeRefusal::NoModel);
        }
        let mut low = [f64::INFINITY; 3];
        let mut high = [f64::NEG_INFINITY; 3];
        for (number, triangle) in self.triangles.iter().enumerate() {
            for &v in triangle {
                let corner = self
                    .vertices_mm
                    .get(v as usize)
                    .filter(|c| c.iter().all(|x| x.abs() < 1e6))
                    .ok_or(FreezeRefusal::BadTriangle { triangle: number })?;
                low = std::array::from_fn(|a| low[a].min(corner[a]));
                high = std::array::from_fn(|a| high[a].max(corner[a]));
            }
        }
        for rod in self.rods {
            within("a sprue's diameter", "mm", rod.diameter_mm, 0.1, 200.0)?;
            within("a sprue's length", "mm", rod.length_mm, 0.1, 1000.0)?;
            within("a direction's length", "", dot(rod.along, rod.along), 0.999, 1.001)?;
            for at in rod.from_mm {
                within("a sprue's place", "mm", at, -1e6, 1e6)?;
            }
            let (from, to) = rod.bounds_mm();
            low = std::array::from_fn(|a| low[a].min(from[a]));
            high = std::array::from_fn(|a| high[a].max(to[a]));
        }
        Ok((low, high))
    }

    /// Volume and surface of the mesh alone, in mm³ and mm².
    ///
    /// The volume is the enclosed one for shells that do not overlap.
    #[must_use]
    pub fn volume_and_area(&self) -> (f64, f64) {
        let (mut volume, mut area) = (0.0, 0.0);
        for triangle in self.triangles {
            let [a, b, c] = triangle.map(|v| self.vertices_mm[v as usize]);
            let normal = cross(sub(b, a), sub(c, a));
            volume += dot(a, cross(b, c)) / 6.0;
            area += 0.5 * dot(normal, normal).sqrt();
        }
        (f64::abs(volume), area)
    }
}

pub(super) fn sub(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[k] - b[k])
}

pub(super) fn add(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[k] + b[k])
}

pub(super) fn scale(a: [f64; 3], by: f64) -> [f64; 3] {
    a.map(|x| x * by)
}

pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}
