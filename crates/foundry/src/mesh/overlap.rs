//! Whether shells cut through each other.

use std::collections::HashSet;

use super::bvh::Bvh;
use super::topology::{NO_SHELL, Topology};
use super::{Bounds, Mesh, Point, vec3};

/// The pairs of shells of which a facet of one pierces a facet of the other, lower number first.
///
/// Mere touching, along a face, an edge or at a point, is not found here.
pub(crate) fn piercing_pairs(
    mesh: &Mesh,
    topology: &Topology,
    bounds: &[Bounds],
) -> HashSet<(u32, u32)> {
    let mut pairs = HashSet::new();
    let shells = bounds.len();
    // Facets that reach into no other shell's box need no look.
    let rivals: Vec<Vec<u32>> = (0..shells)
        .map(|a| {
            let others = (0..shells).filter(|&b| b != a && bounds[a].touches(&bounds[b]));
            others.map(|b| b as u32).collect()
        })
        .collect();
    if rivals.iter().all(Vec::is_empty) {
        return pairs;
    }
    let tree = Bvh::new(mesh);
    for (facet, corners) in mesh.facets().enumerate() {
        let shell = topology.shell_of[facet];
        if shell == NO_SHELL {
            continue;
        }
        let mut around = Bounds::EMPTY;
        corners.into_iter().for_each(|corner| around.include(corner));
        let near = rivals[shell as usize].iter().any(|&rival| {
            rival > shell
                && !pairs.contains(&(shell, rival))
                && bounds[rival as usize].touches(&around)
        });
        if !near {
            continue;
        }
        tree.touching(&around, |other| {
            let rival = topology.shell_of[other as usize];
            if rival != NO_SHELL
                && rival > shell
                && !pairs.contains(&(shell, rival))
                && pierce(corners, tree.corners(other))
            {
                pairs.insert((shell, rival));
            }
            true
        });
    }
    pairs
}

/// Whether an edge of one triangle passes through the inside of the other.
fn pierce(a: [Point; 3], b: [Point; 3]) -> bool {
    (0..3).any(|k| crosses(a[k], a[(k + 1) % 3], b) || crosses(b[k], b[(k + 1) % 3], a))
}

/// Whether a segment passes properly through the inside of a triangle.
fn crosses(from: Point, to: Point, [a, b, c]: [Point; 3]) -> bool {
    let side = |p: Point, q: Point, r: Point, s: Point| {
        let (u, v, w) = (vec3::sub(q, p), vec3::sub(r, p), vec3::sub(s, p));
        let triple = vec3::dot(u, vec3::cross(v, w));
        // Rounding is told from a position by its size against that of the products.
        let scale = vec3::length(u) * vec3::length(v) * vec3::length(w);
        if triple.abs() <= scale * 1.0e-9 { 0.0 } else { triple }
    };
    let (above, below) = (side(a, b, c, from), side(a, b, c, to));
    if above * below >= 0.0 {
        return false;
    }
    let turns = [side(from, to, a, b), side(from, to, b, c), side(from, to, c, a)];
    turns.iter().all(|&turn| turn > 0.0) || turns.iter().all(|&turn| turn < 0.0)
}
