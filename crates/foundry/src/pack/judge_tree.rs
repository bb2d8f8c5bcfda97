//! An independent judge of trees: exact distances between facets, rods, channels and walls,
//! sharing no code with the packer.

use std::collections::HashMap;

use super::flask::{FlaskKind, Rod, ToTree, TreeRules, Treed};
use super::flasks::Pattern;
use crate::mesh::bvh::nearest_on_facet;
use crate::mesh::{Point, vec3};

/// What is wrong with a tree.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TreeFault {
    /// Two pieces, a piece and another's runner, or two runners are closer than asked.
    #[error("pieces {one} and {other} are {apart_mm:.3} mm apart")]
    TooClose {
        /// One piece.
        one: usize,
        /// The other.
        other: usize,
        /// Their distance; zero where they overlap.
        apart_mm: f64,
    },
    /// A piece is too near to the wall, the rim or the base.
    #[error("piece {piece} is {over_mm:.3} mm too near to the {what}")]
    TooNear {
        /// Which.
        piece: usize,
        /// To what.
        what: &'static str,
        /// How much is missing.
        over_mm: f64,
    },
    /// A runner that does not reach from the sprue to the piece.
    #[error("the runner of piece {piece} does not join it to the sprue")]
    NotJoined {
        /// Which.
        piece: usize,
    },
    /// Pieces of different groups.
    #[error("piece {piece} is of another alloy or family than the flask")]
    OtherGroup {
        /// Which.
        piece: usize,
    },
    /// A piece that hangs twice.
    #[error("piece {piece} hangs there twice")]
    Twice {
        /// Which.
        piece: usize,
    },
    /// A pose that stretches, mirrors or shears.
    #[error("the pose of piece {piece} is no turn and shift")]
    NotRigid {
        /// Which.
        piece: usize,
    },
}

const SLACK_MM: f64 = 1e-3;

type Facet = [Point; 3];

/// Checks one tree: every piece clear of the wall, the rim, the base, the channels, the sprue and
/// of each other, measured exactly between facets; joined by its runner; of one group.
///
/// # Units
/// Millimetres.
///
/// # Accuracy
/// Exact but for a slack of a thousandth of a millimetre.
///
/// # Refuses
/// Nothing: pieces and patterns that are not there are passed over.
#[must_use]
pub fn judge_tree(
    kind: &FlaskKind,
    patterns: &[Pattern<'_>],
    pieces: &[ToTree],
    rules: &TreeRules,
    tree: &Treed,
) -> Vec<TreeFault> {
    let mut faults = Vec::new();
    let mut bodies: Vec<(usize, Vec<Facet>, Facet)> = Vec::new();
    for on in &tree.pieces {
        let piece = on.piece;
        let Some(told) = pieces.get(piece) else { continue };
        let Some(pattern) = patterns.get(told.pattern) else { continue };
        if told.group != tree.group {
            faults.push(TreeFault::OtherGroup { piece });
        }
        if !is_rigid(&on.pose) {
            faults.push(TreeFault::NotRigid { piece });
        }
        let facets: Vec<Facet> =
            pattern.mesh.facets().map(|facet| facet.map(|p| put(&on.pose, p))).collect();
        faults.extend(around(kind, rules, piece, &facets));
        let line = axis(&on.runner);
        let to_piece = facets
            .iter()
            .map(|facet| vec3::distance(nearest_on_facet(on.runner.to_mm, *facet), on.runner.to_mm))
            .fold(f64::INFINITY, f64::min);
        let to_sprue = tree
            .sprue
            .iter()
            .map(|rod| {
                let [from, to] = [rod.from_mm, rod.to_mm];
                vec3::distance(nearest_on_line(on.runner.from_mm, from, to), on.runner.from_mm)
                    - rod.diameter_mm / 2.0
            })
            .fold(f64::INFINITY, f64::min);
        if to_piece > 0.01 || to_sprue > 0.01 {
            faults.push(TreeFault::NotJoined { piece });
        }
        let joined_to_tip = on.tilt_deg >= 90.0;
        for rod in tree.sprue.iter().filter(|_| !joined_to_tip) {
            let least =
                distance(&[axis(rod)], &facets, rod.diameter_mm / 2.0 + rules.sprue_clear_mm)
                    - rod.diameter_mm / 2.0;
            if least < rules.sprue_clear_mm - SLACK_MM {
                let over_mm = rules.sprue_clear_mm - least;
                faults.push(TreeFault::TooNear { piece, what: "sprue", over_mm });
            }
        }
        bodies.push((piece, facets, line));
    }
    let radius = rules.runner_diameter_mm / 2.0;
    for (n, (one, ours, our_line)) in bodies.iter().enumerate() {
        for (other, theirs, their_line) in &bodies[n + 1..] {
            if one == other {
                faults.push(TreeFault::Twice { piece: *one });
                continue;
            }
            let reach = rules.apart_mm + 2.0 * radius;
            let bare = distance(ours, theirs, reach);
            let across =
                distance(ours, &[*their_line], reach).min(distance(theirs, &[*our_line], reach))
                    - radius;
            let lines = distance(&[*our_line], &[*their_line], reach) - 2.0 * radius;
            let apart_mm = bare.min(across).max(0.0);
            let too_close = apart_mm < rules.apart_mm - SLACK_MM;
            if too_close || lines < rules.runners_apart_mm - SLACK_MM {
                let apart_mm = if too_close { apart_mm } else { lines.max(0.0) };
                faults.push(TreeFault::TooClose { one: *one, other: *other, apart_mm });
            }
        }
    }
    faults
}

/// Wall, rim, base and channels.
fn around(kind: &FlaskKind, rules: &TreeRules, piece: usize, facets: &[Facet]) -> Vec<TreeFault> {
    let mut faults = Vec::new();
    let mut near = |what, over_mm: f64| {
        if over_mm > SLACK_MM {
            faults.push(TreeFault::TooNear { piece, what, over_mm });
        }
    };
    let most = |value: fn(&Point) -> f64| {
        facets.iter().flatten().map(value).fold(f64::NEG_INFINITY, f64::max)
    };
    // A cylinder is convex: what its corners keep to, the facets keep to.
    near("wall", most(|p| p[0].hypot(p[1])) + rules.wall_mm - kind.diameter_mm / 2.0);
    near("rim", most(|p| p[2]) + rules.top_mm - kind.height_mm);
    near("base", rules.floor_mm + most(|p| -p[2]));
    if let Some(channels) = kind.channels {
        let radius = channels.diameter_mm / 2.0;
        for n in 0..channels.count {
            let angle = f64::from(n) / f64::from(channels.count) * 2.0 * std::f64::consts::PI;
            let [x, y] = [channels.from_axis_mm * angle.cos(), channels.from_axis_mm * angle.sin()];
            let top = [x, y, kind.height_mm];
            let least = distance(&[[[x, y, 0.0], top, top]], facets, radius + rules.channel_mm);
            near("vacuum channel", rules.channel_mm - (least - radius));
        }
    }
    faults
}

fn put(pose: &[[f64; 4]; 3], p: Point) -> Point {
    std::array::from_fn(|row| {
        pose[row][3] + (0..3).map(|column| pose[row][column] * p[column]).sum::<f64>()
    })
}

fn is_rigid(pose: &[[f64; 4]; 3]) -> bool {
    let row = |n: usize| [pose[n][0], pose[n][1], pose[n][2]];
    let alike = (0..3).all(|a| {
        (0..3).all(|b| {
            let wanted = if a == b { 1.0 } else { 0.0 };
            (vec3::dot(row(a), row(b)) - wanted).abs() < 1e-9
        })
    });
    alike && vec3::dot(vec3::cross(row(0), row(1)), row(2)) > 0.0
}

/// The axis of a rod, as a facet without area.
fn axis(rod: &Rod) -> Facet {
    [rod.from_mm, rod.to_mm, rod.to_mm]
}

fn nearest_on_line(p: Point, from: Point, to: Point) -> Point {
    let way = vec3::sub(to, from);
    let square = vec3::dot(way, way);
    let share = if square > 0.0 { vec3::dot(vec3::sub(p, from), way) / square } else { 0.0 };
    vec3::add(from, vec3::scale(way, share.clamp(0.0, 1.0)))
}

fn box_of(facet: &Facet) -> [Point; 2] {
    let side = |pick: fn(f64, f64) -> f64| -> Point {
        std::array::from_fn(|axis| pick(pick(facet[0][axis], facet[1][axis]), facet[2][axis]))
    };
    [side(f64::min), side(f64::max)]
}

fn box_around(facets: &[Facet]) -> [Point; 2] {
    let none = [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]];
    facets.iter().map(box_of).fold(none, |[least, greatest], [low, high]| {
        [
            std::array::from_fn(|axis| least[axis].min(low[axis])),
            std::array::from_fn(|axis| greatest[axis].max(high[axis])),
        ]
    })
}

fn within_reach(a: &[Point; 2], b: &[Point; 2], reach: f64) -> bool {
    (0..3).all(|axis| a[0][axis] <= b[1][axis] + reach && b[0][axis] <= a[1][axis] + reach)
}

/// The least distance of two sets of facets, as far as it is below `reach`; else infinite.
fn distance(ours: &[Facet], theirs: &[Facet], reach: f64) -> f64 {
    let (our_box, their_box) = (box_around(ours), box_around(theirs));
    if !within_reach(&our_box, &their_box, reach) {
        return f64::INFINITY;
    }
    let edge = (2.0 * reach).max(1.0);
    let cells = |[low, high]: [Point; 2], more: f64| {
        let range = |axis: usize| {
            ((low[axis] - more) / edge).floor() as i32..=((high[axis] + more) / edge).floor() as i32
        };
        let (xs, ys, zs) = (range(0), range(1), range(2));
        let mut cells = Vec::new();
        for x in xs {
            for y in ys.clone() {
                cells.extend(zs.clone().map(|z| [x, y, z]));
            }
        }
        cells
    };
    let mut kept: HashMap<[i32; 3], Vec<usize>> = HashMap::new();
    for (n, facet) in theirs.iter().enumerate() {
        let around = box_of(facet);
        if within_reach(&around, &our_box, reach) {
            for cell in cells(around, 0.0) {
                kept.entry(cell).or_default().push(n);
            }
        }
    }
    let mut least = f64::INFINITY;
    for facet in ours {
        let around = box_of(facet);
        if !within_reach(&around, &their_box, reach) {
            continue;
        }
        for cell in cells(around, reach) {
            for &n in kept.get(&cell).into_iter().flatten() {
                if within_reach(&around, &box_of(&theirs[n]), reach.min(least)) {
                    least = least.min(facet_distance(facet, &theirs[n]));
                }
            }
        }
        if least == 0.0 {
            return 0.0;
        }
    }
    if least <= reach { least } else { f64::INFINITY }
}

/// The distance of two triangles; zero where one cuts the other. A corner of the one against the
/// other's face, and edge against edge, cover all cases of two that do not cut each other.
fn facet_distance(a: &Facet, b: &Facet) -> f64 {
    for n in 0..3 {
        if cuts(a[n], a[(n + 1) % 3], b) || cuts(b[n], b[(n + 1) % 3], a) {
            return 0.0;
        }
    }
    let mut least = f64::INFINITY;
    for n in 0..3 {
        least = least.min(vec3::distance(nearest_on_facet(a[n], *b), a[n]));
        least = least.min(vec3::distance(nearest_on_facet(b[n], *a), b[n]));
        for m in 0..3 {
            least = least.min(edges([a[n], a[(n + 1) % 3]], [b[m], b[(m + 1) % 3]]));
        }
    }
    least
}

/// Whether an edge passes through a facet.
fn cuts(from: Point, to: Point, [a, b, c]: &Facet) -> bool {
    let normal = vec3::cross(vec3::sub(*b, *a), vec3::sub(*c, *a));
    let (before, behind) =
        (vec3::dot(normal, vec3::sub(from, *a)), vec3::dot(normal, vec3::sub(to, *a)));
    if normal == [0.0; 3] || before * behind >= 0.0 {
        return false;
    }
    let share = before / (before - behind);
    let p = vec3::add(from, vec3::scale(vec3::sub(to, from), share));
    [(a, b), (b, c), (c, a)]
        .into_iter()
        .all(|(u, v)| vec3::dot(vec3::cross(vec3::sub(*v, *u), vec3::sub(p, *u)), normal) >= 0.0)
}

/// The distance of two edges.
///
/// Source: C. Ericson, Real-Time Collision Detection, 2005, section 5.1.9 (from memory).
fn edges([p, p_end]: [Point; 2], [q, q_end]: [Point; 2]) -> f64 {
    let (d1, d2, r) = (vec3::sub(p_end, p), vec3::sub(q_end, q), vec3::sub(p, q));
    let (a, e, f) = (vec3::dot(d1, d1), vec3::dot(d2, d2), vec3::dot(d2, r));
    let c = vec3::dot(d1, r);
    let b = vec3::dot(d1, d2);
    let determinant = a * e - b * b;
    let mut s =
        if determinant > 0.0 { ((b * f - c * e) / determinant).clamp(0.0, 1.0) } else { 0.0 };
    let mut t = if e > 0.0 { (b * s + f) / e } else { 0.0 };
    if t < 0.0 {
        t = 0.0;
        s = if a > 0.0 { (-c / a).clamp(0.0, 1.0) } else { 0.0 };
    } else if t > 1.0 {
        t = 1.0;
        s = if a > 0.0 { ((b - c) / a).clamp(0.0, 1.0) } else { 0.0 };
    }
    let on_p = vec3::add(p, vec3::scale(d1, s));
    let on_q = vec3::add(q, vec3::scale(d2, t));
    vec3::distance(on_p, on_q)
}
