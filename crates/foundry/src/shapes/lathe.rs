//! Turned shapes: a profile led around the z axis.

use std::f64::consts::TAU;

use super::solid::made;
use crate::mesh::{Mesh, Point};

/// Whether a profile returns to its start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// From the axis to the axis, like half a section through a ball.
    Open,
    /// A closed line beside the axis, like a section through a ring.
    Closed,
}

/// A profile and how finely it is turned.
#[derive(Debug, Clone, PartialEq)]
pub struct Lathe {
    /// Distance from the axis and height, in millimetres, with the material on the left:
    /// anticlockwise when the axis is on the left and height runs up.
    pub profile: Vec<[f64; 2]>,
    /// Whether it is closed in itself; an open one must begin and end on the axis.
    pub turn: Turn,
    /// How many facets around, at least three.
    pub around: u32,
}

impl Lathe {
    /// The turned surface. Its volume is that of the profile's solid of revolution times
    /// `sin(2π/n) / (2π/n)`, with n facets around.
    #[must_use]
    pub fn mesh(&self) -> Mesh {
        self.mesh_bent(|[r, z], _| [r, z])
    }

    /// The turned surface with each point of the profile moved according to its angle in
    /// radians, for lobes and facets. Points on the axis have the angle zero.
    #[must_use]
    pub fn mesh_bent(&self, bend: impl Fn([f64; 2], f64) -> [f64; 2]) -> Mesh {
        let around = self.around.max(3);
        let mut vertices: Vec<Point> = Vec::new();
        // The first index of each ring, and whether it is a single point.
        let mut rings = Vec::new();
        for &[r, z] in &self.profile {
            rings.push((vertices.len() as u32, r == 0.0));
            let steps = if r == 0.0 { 1 } else { around };
            for step in 0..steps {
                let angle = TAU * f64::from(step) / f64::from(around);
                let [r, z] = bend([r, z], angle);
                vertices.push([r * angle.cos(), r * angle.sin(), z]);
            }
        }
        let mut triangles = Vec::new();
        let pairs = match self.turn {
            Turn::Open => rings.len().saturating_sub(1),
            Turn::Closed => rings.len(),
        };
        for at in 0..pairs {
            let (below, above) = (rings[at], rings[(at + 1) % rings.len()]);
            for step in 0..around {
                let next = (step + 1) % around;
                let on = |(first, single): (u32, bool), step| first + if single { 0 } else { step };
                let corners = [on(below, step), on(below, next), on(above, next), on(above, step)];
                let [a, b, c, d] = corners;
                if !below.1 {
                    triangles.push([a, b, c]);
                }
                if !above.1 {
                    triangles.push([a, c, d]);
                }
            }
        }
        made(vertices, triangles)
    }
}
