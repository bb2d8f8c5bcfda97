//! An independent judge of packings: exact distances between the models themselves, sharing no
//! code with the packers.

use std::collections::HashMap;

use super::plates::{Face, OnPlate, Plate, ToPrint, Up};
use crate::mesh::Mesh;

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
    for (n, (one, ours)) in flat.iter().enumerate() {
        for (other, theirs) in &flat[n + 1..] {
            if one == other {
                faults.push(PlateFault::Twice { piece: *one });
                continue;
            }
            let apart_mm = apart(ours, theirs, plate.clearance_mm);
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

fn box_of(facet: &Flat) -> [f64; 4] {
    let side = |axis: usize, pick: fn(f64, f64) -> f64| {
        pick(pick(facet[0][axis], facet[1][axis]), facet[2][axis])
    };
    [side(0, f64::min), side(1, f64::min), side(0, f64::max), side(1, f64::max)]
}

fn box_around(facets: &[Flat]) -> [f64; 4] {
    facets
        .iter()
        .map(box_of)
        .fold([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY], |a, b| {
            [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
        })
}

fn near(a: &[f64; 4], b: &[f64; 4], reach: f64) -> bool {
    a[0] <= b[2] + reach && b[0] <= a[2] + reach && a[1] <= b[3] + reach && b[1] <= a[3] + reach
}

/// The least distance of two sets of facets, as far as it is below `reach`; else infinite.
fn apart(ours: &[Flat], theirs: &[Flat], reach: f64) -> f64 {
    let (our_box, their_box) = (box_around(ours), box_around(theirs));
    if !near(&our_box, &their_box, reach) {
        return f64::INFINITY;
    }
    // Facets near the other piece are looked up by the square they lie in.
    let square = (reach * 2.0).max(1.0);
    let mut squares: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
    let range =
        |low: f64, high: f64| (low / square).floor() as i64..=(high / square).floor() as i64;
    for (n, facet) in theirs.iter().enumerate() {
        let around = box_of(facet);
        if near(&around, &our_box, reach) {
            for x in range(around[0], around[2]) {
                for y in range(around[1], around[3]) {
                    squares.entry((x, y)).or_default().push(n);
                }
            }
        }
    }
    let mut least = f64::INFINITY;
    for facet in ours {
        let around = box_of(facet);
        if !near(&around, &their_box, reach) {
            continue;
        }
        for x in range(around[0] - reach, around[2] + reach) {
            for y in range(around[1] - reach, around[3] + reach) {
                for &n in squares.get(&(x, y)).into_iter().flatten() {
                    if near(&around, &box_of(&theirs[n]), reach.min(least)) {
                        least = least.min(facet_distance(facet, &theirs[n]));
                        if least == 0.0 {
                            return 0.0;
                        }
                    }
                }
            }
        }
    }
    least
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
