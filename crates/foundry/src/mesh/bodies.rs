//! Takes a mesh apart into the bodies it consists of.

use std::collections::HashMap;

use super::topology::{EdgeTable, Groups, is_collapsed};
use super::{Mesh, Point};

/// The parts of a mesh that hang together over edges, each as a mesh of its own.
///
/// The first is the one with the first facet.
#[must_use]
pub fn bodies(mesh: &Mesh) -> Vec<Mesh> {
    let table = EdgeTable::new(mesh);
    let mut groups = Groups::new(mesh.triangles().len());
    for edge in table.edges() {
        for &(_, half_edge) in &edge.sides[1..] {
            groups.join(edge.sides[0].1 / 3, half_edge / 3);
        }
    }
    let mut number: HashMap<u32, usize> = HashMap::new();
    let mut bodies: Vec<Vec<[u32; 3]>> = Vec::new();
    for (facet, &triangle) in mesh.triangles().iter().enumerate() {
        if is_collapsed(triangle) {
            continue;
        }
        let at = *number.entry(groups.lead(facet as u32)).or_insert_with(|| {
            bodies.push(Vec::new());
            bodies.len() - 1
        });
        bodies[at].push(triangle);
    }
    bodies.into_iter().map(|triangles| with_used_points(mesh.vertices(), triangles)).collect()
}

/// A mesh of some triangles with only the points they use.
fn with_used_points(points: &[Point], mut triangles: Vec<[u32; 3]>) -> Mesh {
    let mut renamed: HashMap<u32, u32> = HashMap::new();
    let mut vertices = Vec::new();
    for index in triangles.iter_mut().flatten() {
        *index = *renamed.entry(*index).or_insert_with(|| {
            vertices.push(points[*index as usize]);
            vertices.len() as u32 - 1
        });
    }
    Mesh::trusted(vertices, triangles)
}
