//! An independent judge of packings: exact distances between the models themselves, sharing no
//! code with the packers.

use super::plates::{Face, OnPlate, Plate, ToPrint, Up};
use crate::mesh::bvh::Bvh;
use crate::mesh::{Bounds, Mesh};

/// What is wrong with a plate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlateFault {
    /// Two pieces are closer than asked.
    #[error("pieces {one} and {other} are {apart_mm:.3} mm apart")]
    TooClose {
        /// One piece.
        one: usize,
        /// The other.
        other: usize,
        /// The distance of their outlines; zero where they overlap.
        apart_mm: f64,
    },
    /// A piece reaches over the edge, or closer to it than asked.
    #[error("piece {piece} reaches {over_mm:.3} mm over what is free of the plate")]
    OverEdge {
        /// Which.
        piece: usize,
        /// How far.
        over_mm: f64,
    },
    /// A piece that the printer cannot reach up to.
    #[error("piece {piece} is {over_mm:.3} mm too tall")]
    TooTall {
        /// Which.
        piece: usize,
        /// How much.
        over_mm: f64,
    },
    /// A piece that stands twice.
    #[error("piece {piece} stands on it twice")]
    Twice {
        /// Which.
        piece: usize,
    },
}

/// Rounding that is no fault.
const SLACK_MM: f64 = 1e-6;

/// Checks one plate: every piece wholly on it, none closer to another than asked, measured
/// exactly between the outlines of the models' facets.
///
/// # Units
/// Millimetres.
///
/// # Refuses
/// Nothing: pieces and models that are not there are passed over.
#[must_use]
pub fn judge_plate(
    plate: &Plate,
    models: &[&Mesh],
    pieces: &[ToPrint],
    on: &[OnPlate],
) -> Vec<PlateFault> {
    let mut faults = Vec::new();
    let mut flat = Vec::new();
    for place in on {
        let Some(mesh) = pieces.get(place.piece).and_then(|piece| models.get(piece.model)) else {
            continue;
        };
        let (shadow, height_mm) = shadow(mesh, place);
        let over_mm = height_mm + plate.raised_mm - plate.height_mm;
        if over_mm > SLACK_MM {
            faults.push(PlateFault::TooTall { piece: place.piece, over_mm });
        }
        let over = |p: &[f64; 2]| match plate.face {
            Face::Rectangle { width_mm, depth_mm } => {
                let sides = [-p[0], p[0] - width_mm, -p[1], p[1] - depth_mm];
                sides.into_iter().fold(f64::NEG_INFINITY, f64::max)
            }
            Face::Disc { diameter_mm } => {
                let radius = diameter_mm / 2.0;
                (p[0] - radius).hypot(p[1] - radius) - radius
            }
        };
        let over_mm =
            shadow.iter().flatten().map(over).fold(f64::NEG_INFINITY, f64::max) + plate.edge_mm;
        if over_mm > SLACK_MM {
            faults.push(PlateFault::OverEdge { piece: place.piece, over_mm });
        }
        flat.push((place.piece, shadow));
    }
    let planes: Vec<Mesh> = flat.iter().map(|(_, facets)| in_plane(facets)).collect();
    let trees: Vec<Bvh<'_>> = planes.iter().map(Bvh::new).collect();
    for (n, (one, ours)) in flat.iter().enumerate() {
        for (m, (other, theirs)) in flat.iter().enumerate().skip(n + 1) {
            if one == other {
                faults.push(PlateFault::Twice { piece: *one });
                continue;
            }
            let near = match (planes[n].bounds(), planes[m].bounds()) {
                (Some(a), Some(b)) => a.grown(plate.clearance_mm).touches(&b),
                _ => false,
            };
            if !near {
                continue;
            }
            let apart_mm = apart(ours, theirs, &trees[m], plate.clearance_mm);
            if apart_mm < plate.clearance_mm - SLACK_MM {
                faults.push(PlateFault::TooClose { one: *one, other: *other, apart_mm });
            }
        }
    }
    faults
}

type Flat = [[f64; 2]; 3];

/// The facets of a piece as they lie on the plate, and how high it is.
fn shadow(mesh: &Mesh, place: &OnPlate) -> (Vec<Flat>, f64) {
    // The rows are where the model's x, y and z go: a right-handed frame for each direction.
    let rows: [[f64; 3]; 3] = match place.up {
        Up::PlusZ => [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        Up::MinusZ => [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]],
        Up::PlusX => [[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]],
        Up::MinusX => [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]],
        Up::PlusY => [[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]],
        Up::MinusY => [[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]],
    };
    let angle = place.turn_deg * std::f64::consts::PI / 180.0;
    let stood: Vec<[f64; 3]> = mesh
        .vertices()
        .iter()
        .map(|v| {
            let [x, y, z] = rows.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
            [angle.cos() * x - angle.sin() * y, angle.sin() * x + angle.cos() * y, z]
        })
        .collect();
    let used = || mesh.triangles().iter().flatten().map(|&index| stood[index as usize]);
    let low = |axis: usize| used().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
    let high = used().map(|p| p[2]).fold(f64::NEG_INFINITY, f64::max);
    let (left, front, bottom) = (low(0), low(1), low(2));
    let moved = |index: u32| {
        let p = stood[index as usize];
        [p[0] - left + place.x_mm, p[1] - front + place.y_mm]
    };
    (mesh.triangles().iter().map(|corners| corners.map(moved)).collect(), high - bottom)
}

/// Facets as a mesh in the plane, so that those near others are found quickly.
fn in_plane(facets: &[Flat]) -> Mesh {
    let vertices = facets.iter().flatten().map(|&[x, y]| [x, y, 0.0]).collect();
    let triangles = (0..facets.len() as u32).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect();
    Mesh::trusted(vertices, triangles)
}

/// The least distance of two sets of facets, as far as it is below `reach`; else infinite.
fn apart(ours: &[Flat], theirs: &[Flat], tree: &Bvh<'_>, reach: f64) -> f64 {
    let mut least = f64::INFINITY;
    for facet in ours {
        let mut around = Bounds::EMPTY;
        facet.iter().for_each(|&[x, y]| around.include([x, y, 0.0]));
        tree.touching(&around.grown(reach), |n| {
            least = least.min(facet_distance(facet, &theirs[n as usize]));
            least > 0.0
        });
        if least == 0.0 {
            break;
        }
    }
    if least <= reach { least } else { f64::INFINITY }
}

/// The distance of two triangles in the plane; zero where they overlap.
fn facet_distance(a: &Flat, b: &Flat) -> f64 {
    if a.iter().any(|p| contains(b, *p)) || b.iter().any(|p| contains(a, *p)) {
        return 0.0;
    }
    let mut least = f64::INFINITY;
    for i in 0..3 {
        for j in 0..3 {
            let (p, q) = (a[i], a[(i + 1) % 3]);
            let (r, s) = (b[j], b[(j + 1) % 3]);
            if cross(p, q, r, s) {
                return 0.0;
            }
            least = least.min(to_edge(p, r, s)).min(to_edge(r, p, q));
        }
    }
    least
}

fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether a point lies strictly inside a triangle, whichever way it runs.
fn contains(facet: &Flat, p: [f64; 2]) -> bool {
    let turns: [f64; 3] = std::array::from_fn(|n| turn(facet[n], facet[(n + 1) % 3], p));
    turns.iter().all(|t| *t > 0.0) || turns.iter().all(|t| *t < 0.0)
}

fn cross(p: [f64; 2], q: [f64; 2], r: [f64; 2], s: [f64; 2]) -> bool {
    turn(p, q, r) * turn(p, q, s) < 0.0 && turn(r, s, p) * turn(r, s, q) < 0.0
}

fn to_edge(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (ux, uy) = (b[0] - a[0], b[1] - a[1]);
    let length = ux * ux + uy * uy;
    let along = if length > 0.0 { ((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / length } else { 0.0 };
    let along = along.clamp(0.0, 1.0);
    (p[0] - a[0] - along * ux).hypot(p[1] - a[1] - along * uy)
}
