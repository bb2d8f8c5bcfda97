//! The faults that real files have, put into a sound mesh.

use super::solid::{self, made};
use crate::mesh::bvh::Bvh;
use crate::mesh::{Mesh, MeshRefusal, Point, Unit, vec3};

/// A fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    /// The facets around a point are missing.
    Hole,
    /// Every fiftieth facet faces inwards.
    FlippedFacets,
    /// All facets face inwards.
    InsideOut,
    /// Every fiftieth facet is there twice.
    DoubledFacets,
    /// A second body cuts through the first.
    OverlappingShells,
    /// A closed hollow in the thickest place that was looked for.
    EnclosedVoid,
    /// A body inside the body.
    NestedSolid,
    /// Drawn in inches.
    Inches,
    /// Facets that share no points: each corner is off by less than a thousandth of a millimetre.
    Unwelded,
}

/// How far a hole reaches from its middle, as a share of the diagonal of the box.
const HOLE_SHARE: f64 = 0.08;

impl Fault {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Hole,
        Self::FlippedFacets,
        Self::InsideOut,
        Self::DoubledFacets,
        Self::OverlappingShells,
        Self::EnclosedVoid,
        Self::NestedSolid,
        Self::Inches,
        Self::Unwelded,
    ];

    /// The mesh with this fault. The seed chooses where, as far as there is a choice.
    #[must_use]
    pub fn put_into(self, mesh: &Mesh, seed: u64) -> Mesh {
        let facets = mesh.triangles().len();
        if facets == 0 {
            return Mesh::default();
        }
        let chosen = (seed % facets as u64) as usize;
        let with = |triangles: Vec<[u32; 3]>| made(mesh.vertices().to_vec(), triangles);
        match self {
            Self::Hole => {
                let [middle, ..] = mesh.corners(mesh.triangles()[chosen]);
                let reach = mesh.bounds().map_or(0.0, |bounds| bounds.diagonal() * HOLE_SHARE);
                let away = |t: &[u32; 3]| {
                    mesh.corners(*t).iter().any(|&corner| vec3::distance(corner, middle) > reach)
                };
                with(mesh.triangles().iter().copied().filter(away).collect())
            }
            Self::FlippedFacets => {
                let turn = |(at, &[a, b, c]): (usize, &[u32; 3])| {
                    if at % 50 == chosen % 50 { [a, c, b] } else { [a, b, c] }
                };
                with(mesh.triangles().iter().enumerate().map(turn).collect())
            }
            Self::InsideOut => mesh.flipped(),
            Self::DoubledFacets => {
                let mut triangles = mesh.triangles().to_vec();
                triangles.extend(mesh.triangles().iter().skip(chosen % 50).step_by(50));
                with(triangles)
            }
            Self::OverlappingShells => {
                let size = mesh.bounds().map_or([0.0; 3], |bounds| bounds.size());
                joined(mesh, mesh.moved(vec3::scale(size, 0.31)))
            }
            Self::EnclosedVoid => joined(mesh, ball_inside(mesh).map(|ball| ball.flipped())),
            Self::NestedSolid => joined(mesh, ball_inside(mesh)),
            Self::Inches => mesh.scaled(1.0 / Unit::Inch.in_millimetres()).unwrap_or_default(),
            Self::Unwelded => unwelded(mesh, seed),
        }
    }
}

fn joined(mesh: &Mesh, other: Result<Mesh, MeshRefusal>) -> Mesh {
    other.and_then(|other| mesh.joined(&other)).unwrap_or_default()
}

/// A ball inside the mesh, around the roomiest of the places that were tried.
fn ball_inside(mesh: &Mesh) -> Result<Mesh, MeshRefusal> {
    const TRIES: usize = 400;
    let tree = Bvh::new(mesh);
    let facets = mesh.triangles().len();
    let mut best = ([0.0; 3], 0.0);
    for facet in (0..facets).step_by(facets.div_ceil(TRIES).max(1)) {
        let [a, b, c] = mesh.corners(mesh.triangles()[facet]);
        let outward = vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)));
        let inward = vec3::scale(outward, -1.0);
        let middle = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
        let across = tree.first_hit(middle, inward, 1.0e-6..f64::MAX, |hit| hit != facet as u32);
        let Some(across) = across else { continue };
        let centre = vec3::add(middle, vec3::scale(inward, across.along / 2.0));
        let clear = tree.nearest(centre, f64::MAX, |_| true).map_or(0.0, |near| near.distance);
        if clear > best.1 {
            best = (centre, clear);
        }
    }
    solid::ball(best.1 * 0.6, 32).moved(best.0)
}

/// Every facet with corners of its own, each off by a little.
fn unwelded(mesh: &Mesh, seed: u64) -> Mesh {
    const MOST_MM: f64 = 0.0004;
    let mut state = seed;
    let mut little = || {
        // SplitMix64: G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number
        // generators, OOPSLA 2014 (from memory).
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let share = ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
        (share * 2.0 - 1.0) * MOST_MM
    };
    let vertices: Vec<Point> =
        mesh.facets().flatten().map(|p| p.map(|coordinate| coordinate + little())).collect();
    let triangles = (0..mesh.triangles().len() as u32).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]);
    made(vertices, triangles.collect())
}
