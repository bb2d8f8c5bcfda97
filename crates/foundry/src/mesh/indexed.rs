//! The mesh itself: points, and triangles that refer to them.

use rayon::prelude::*;

use super::{Point, vec3};

/// Largest coordinate that is believed, in whatever unit the mesh is in.
///
/// Larger numbers are the mark of a damaged file, and their cubes would eat the
/// digits of every sum.
pub const LARGEST_COORDINATE: f64 = 1.0e9;

/// A surface of triangles over shared points.
///
/// Every index is in range and every coordinate finite and no larger than
/// [`LARGEST_COORDINATE`]; nothing else is promised: the surface may be open,
/// doubled or inside out. A triangle's corners run anticlockwise seen from
/// outside.
///
/// # Units
/// Millimetres, except inside a [`ModelFile`](super::ModelFile), whose mesh is
/// in the file's own unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Mesh {
    vertices: Vec<Point>,
    triangles: Vec<[u32; 3]>,
}

/// Why points and triangles do not make a mesh.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MeshRefusal {
    /// A coordinate is not a number, infinite or absurdly large.
    #[error(
        "point {point} has a coordinate that is not a usable number (NaN, infinite or beyond 1e9)"
    )]
    BadCoordinate {
        /// Which point, counted from zero.
        point: usize,
    },
    /// A triangle refers to a point that is not there.
    #[error("triangle {triangle} refers to point {index}, but there are only {points} points")]
    IndexOutOfRange {
        /// Which triangle, counted from zero.
        triangle: usize,
        /// The index it names.
        index: u32,
        /// How many points there are.
        points: usize,
    },
    /// More points than an index can count.
    #[error("a mesh cannot have more than 4294967295 points")]
    TooManyPoints,
}

impl Mesh {
    /// Checks points and triangles and makes a mesh of them.
    ///
    /// # Refuses
    /// Unusable coordinates and indices out of range.
    pub fn new(vertices: Vec<Point>, triangles: Vec<[u32; 3]>) -> Result<Self, MeshRefusal> {
        if u32::try_from(vertices.len()).is_err() {
            return Err(MeshRefusal::TooManyPoints);
        }
        if let Some(point) = vertices.iter().position(|p| !is_usable(*p)) {
            return Err(MeshRefusal::BadCoordinate { point });
        }
        let points = vertices.len();
        for (triangle, corners) in triangles.iter().enumerate() {
            if let Some(&index) = corners.iter().find(|&&i| i as usize >= points) {
                return Err(MeshRefusal::IndexOutOfRange { triangle, index, points });
            }
        }
        Ok(Self { vertices, triangles })
    }

    /// A mesh whose parts the caller has already checked.
    pub(crate) fn trusted(vertices: Vec<Point>, triangles: Vec<[u32; 3]>) -> Self {
        debug_assert!(vertices.iter().all(|p| is_usable(*p)));
        debug_assert!(triangles.iter().flatten().all(|&i| (i as usize) < vertices.len()));
        Self { vertices, triangles }
    }

    /// The points.
    #[must_use]
    pub fn vertices(&self) -> &[Point] {
        &self.vertices
    }

    /// The triangles, each as three indices into the points.
    #[must_use]
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// Whether there are no triangles.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.triangles.is_empty()
    }

    /// The three corner points of a triangle of this mesh.
    #[must_use]
    pub fn corners(&self, triangle: [u32; 3]) -> [Point; 3] {
        let [a, b, c] = triangle;
        [self.vertices[a as usize], self.vertices[b as usize], self.vertices[c as usize]]
    }

    /// The corner points of all triangles in turn.
    pub fn facets(&self) -> impl ExactSizeIterator<Item = [Point; 3]> + '_ {
        self.triangles.iter().map(|&triangle| self.corners(triangle))
    }

    /// The box around all triangles; `None` when there are none.
    #[must_use]
    pub fn bounds(&self) -> Option<Bounds> {
        let around = |some: &[[u32; 3]]| {
            let mut bounds = Bounds::EMPTY;
            for &index in some.as_flattened() {
                bounds.include(self.vertices[index as usize]);
            }
            bounds
        };
        let joined = |mut a: Bounds, b: Bounds| {
            a.include_box(&b);
            a
        };
        let parts = self.triangles.par_chunks(1 << 14).map(around);
        (!self.is_empty()).then(|| parts.reduce(|| Bounds::EMPTY, joined))
    }

    /// The same surface with every coordinate multiplied by a factor.
    ///
    /// # Refuses
    /// A result whose coordinates are unusable, see [`MeshRefusal`].
    pub fn scaled(&self, factor: f64) -> Result<Self, MeshRefusal> {
        self.mapped(|p| vec3::scale(p, factor))
    }

    /// The same surface moved.
    ///
    /// # Refuses
    /// A result whose coordinates are unusable, see [`MeshRefusal`].
    pub fn moved(&self, by: Point) -> Result<Self, MeshRefusal> {
        self.mapped(|p| vec3::add(p, by))
    }

    /// The same triangles with every point put elsewhere.
    ///
    /// A map that mirrors turns the surface inside out; see [`Mesh::flipped`].
    ///
    /// # Refuses
    /// A result whose coordinates are unusable, see [`MeshRefusal`].
    pub fn mapped(&self, place: impl Fn(Point) -> Point) -> Result<Self, MeshRefusal> {
        let vertices: Vec<Point> = self.vertices.iter().map(|&p| place(p)).collect();
        if let Some(point) = vertices.iter().position(|p| !is_usable(*p)) {
            return Err(MeshRefusal::BadCoordinate { point });
        }
        Ok(Self { vertices, triangles: self.triangles.clone() })
    }

    /// The surface turned inside out.
    #[must_use]
    pub fn flipped(&self) -> Self {
        let triangles = self.triangles.iter().map(|&[a, b, c]| [a, c, b]).collect();
        Self { vertices: self.vertices.clone(), triangles }
    }

    /// Puts another surface beside this one in the same mesh, without welding.
    ///
    /// # Refuses
    /// More points than can be counted.
    pub fn joined(&self, other: &Self) -> Result<Self, MeshRefusal> {
        let count = self.vertices.len() + other.vertices.len();
        let (Ok(_), Ok(shift)) = (u32::try_from(count), u32::try_from(self.vertices.len())) else {
            return Err(MeshRefusal::TooManyPoints);
        };
        let mut joined = self.clone();
        joined.vertices.extend_from_slice(&other.vertices);
        joined.triangles.extend(other.triangles.iter().map(|t| t.map(|index| index + shift)));
        Ok(joined)
    }
}

/// Whether a point can be part of a mesh.
pub(crate) fn is_usable(point: Point) -> bool {
    point.iter().all(|c| c.abs() <= LARGEST_COORDINATE)
}

/// A box with its faces along the axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The corner with the smallest coordinates.
    pub least: Point,
    /// The corner with the greatest coordinates.
    pub greatest: Point,
}

impl Bounds {
    /// The box around nothing: including a point makes it that point.
    pub(crate) const EMPTY: Self =
        Self { least: [f64::INFINITY; 3], greatest: [f64::NEG_INFINITY; 3] };

    /// Stretches the box so that the point lies in it.
    pub(crate) fn include(&mut self, point: Point) {
        for (axis, &coordinate) in point.iter().enumerate() {
            // Plain comparisons: coordinates are numbers, and `f64::min` looks for those that are not.
            if coordinate < self.least[axis] {
                self.least[axis] = coordinate;
            }
            if coordinate > self.greatest[axis] {
                self.greatest[axis] = coordinate;
            }
        }
    }

    /// Stretches the box so that the other lies in it.
    pub(crate) fn include_box(&mut self, other: &Self) {
        self.least = std::array::from_fn(|axis| self.least[axis].min(other.least[axis]));
        self.greatest = std::array::from_fn(|axis| self.greatest[axis].max(other.greatest[axis]));
    }

    /// What two boxes that touch have in common.
    pub(crate) fn common(&self, other: &Self) -> Self {
        Self {
            least: std::array::from_fn(|a| self.least[a].max(other.least[a])),
            greatest: std::array::from_fn(|a| self.greatest[a].min(other.greatest[a])),
        }
    }

    /// The box with all its sides moved outwards.
    pub(crate) fn grown(&self, by: f64) -> Self {
        Self { least: self.least.map(|c| c - by), greatest: self.greatest.map(|c| c + by) }
    }

    /// Length, breadth and height along x, y and z.
    #[must_use]
    pub fn size(&self) -> Point {
        vec3::sub(self.greatest, self.least)
    }

    /// The middle of the box.
    #[must_use]
    pub fn centre(&self) -> Point {
        vec3::scale(vec3::add(self.least, self.greatest), 0.5)
    }

    /// The greatest of length, breadth and height.
    #[must_use]
    pub fn longest(&self) -> f64 {
        self.size().into_iter().fold(0.0, f64::max)
    }

    /// The distance between opposite corners.
    #[must_use]
    pub fn diagonal(&self) -> f64 {
        vec3::length(self.size())
    }

    /// Whether the two boxes have a point in common.
    #[must_use]
    pub fn touches(&self, other: &Self) -> bool {
        (0..3).all(|a| self.least[a] <= other.greatest[a] && other.least[a] <= self.greatest[a])
    }

    /// Whether the other box lies wholly inside or on this one.
    #[must_use]
    pub fn holds(&self, other: &Self) -> bool {
        (0..3).all(|a| self.least[a] <= other.least[a] && other.greatest[a] <= self.greatest[a])
    }
}
