//! Plain solids in millimetres, closed and facing outwards.
//!
//! Sizes are taken as they come: one that is not a usable number gives an empty mesh.

use std::f64::consts::{PI, TAU};

use super::lathe::{Lathe, Turn};
use crate::mesh::{Mesh, Point};

/// A mesh of parts that are right by construction, unless a size was unusable.
pub(super) fn made(vertices: Vec<Point>, triangles: Vec<[u32; 3]>) -> Mesh {
    Mesh::new(vertices, triangles).unwrap_or_default()
}

/// A cuboid with a corner in the origin.
#[must_use]
pub fn cuboid([x, y, z]: Point) -> Mesh {
    let vertices = (0..8)
        .map(|corner| {
            let at = |bit: usize, size: f64| if corner >> bit & 1 == 1 { size } else { 0.0 };
            [at(0, x), at(1, y), at(2, z)]
        })
        .collect();
    let sides =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles = sides.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
    made(vertices, triangles)
}

/// A tetrahedron with one corner in the origin and the others on the axes.
#[must_use]
pub fn tetrahedron([x, y, z]: Point) -> Mesh {
    let vertices = vec![[0.0; 3], [x, 0.0, 0.0], [0.0, y, 0.0], [0.0, 0.0, z]];
    made(vertices, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
}

/// A ball about the origin, with this many facets around and half as many from pole to pole.
#[must_use]
pub fn ball(radius: f64, around: u32) -> Mesh {
    let rows = (around / 2).max(2);
    let profile = (0..=rows).map(|row| {
        let angle = PI * f64::from(row) / f64::from(rows);
        let r = if row == 0 || row == rows { 0.0 } else { radius * angle.sin() };
        [r, -radius * angle.cos()]
    });
    Lathe { profile: profile.collect(), turn: Turn::Open, around }.mesh()
}

/// A cylinder standing on the plane z = 0 about the z axis.
#[must_use]
pub fn cylinder(radius: f64, height: f64, around: u32) -> Mesh {
    let profile = vec![[0.0, 0.0], [radius, 0.0], [radius, height], [0.0, height]];
    Lathe { profile, turn: Turn::Open, around }.mesh()
}

/// A cone standing on the plane z = 0 about the z axis.
#[must_use]
pub fn cone(radius: f64, height: f64, around: u32) -> Mesh {
    let profile = vec![[0.0, 0.0], [radius, 0.0], [0.0, height]];
    Lathe { profile, turn: Turn::Open, around }.mesh()
}

/// A tube standing on the plane z = 0 about the z axis.
#[must_use]
pub fn tube(bore_radius: f64, outer_radius: f64, height: f64, around: u32) -> Mesh {
    let profile = vec![
        [bore_radius, 0.0],
        [outer_radius, 0.0],
        [outer_radius, height],
        [bore_radius, height],
    ];
    Lathe { profile, turn: Turn::Closed, around }.mesh()
}

/// A torus about the z axis, with this many facets around the axis and around the tube.
#[must_use]
pub fn torus(ring_radius: f64, tube_radius: f64, around: u32, around_tube: u32) -> Mesh {
    let profile = (0..around_tube).map(|step| {
        let (sin, cos) = (TAU * f64::from(step) / f64::from(around_tube)).sin_cos();
        [ring_radius + tube_radius * cos, tube_radius * sin]
    });
    Lathe { profile: profile.collect(), turn: Turn::Closed, around }.mesh()
}
