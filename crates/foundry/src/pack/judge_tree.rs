//! An independent judge of trees: exact distances between facets, rods, channels and walls,
//! sharing no code with the packer.

use super::flask::{FlaskKind, Rod, ToTree, TreeRules, Treed};
use super::flasks::Pattern;
use crate::mesh::bvh::{Bvh, nearest_on_facet};
use crate::mesh::{Bounds, Mesh, Point, vec3};

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
            let least = distance(&facets, axis(rod), rod.diameter_mm / 2.0 + rules.sprue_clear_mm)
                - rod.diameter_mm / 2.0;
            if least < rules.sprue_clear_mm - SLACK_MM {
                let over_mm = rules.sprue_clear_mm - least;
                faults.push(TreeFault::TooNear { piece, what: "sprue", over_mm });
            }
        }
        bodies.push((piece, facets, line));
    }
    let radius = rules.runner_diameter_mm / 2.0;
    let meshes: Vec<Mesh> = bodies.iter().map(|(_, facets, _)| as_mesh(facets)).collect();
    let trees: Vec<Bvh<'_>> = meshes.iter().map(Bvh::new).collect();
    for (n, (one, ours, our_line)) in bodies.iter().enumerate() {
        for (m, (other, theirs, their_line)) in bodies.iter().enumerate().skip(n + 1) {
            if one == other {
                faults.push(TreeFault::Twice { piece: *one });
                continue;
            }
            let bare = near(ours, &meshes[m], &trees[m], rules.apart_mm);
            let reach = rules.apart_mm + radius;
            let across =
                distance(ours, *their_line, reach).min(distance(theirs, *our_line, reach)) - radius;
            let lines = distance(&[*our_line], *their_line, f64::INFINITY) - 2.0 * radius;
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
            let least = distance(facets, [[x, y, 0.0], top, top], radius + rules.channel_mm);
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

fn as_mesh(facets: &[Facet]) -> Mesh {
    let vertices = facets.iter().flatten().copied().collect();
    let triangles = (0..facets.len() as u32).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect();
    Mesh::trusted(vertices, triangles)
}

fn around_facet(facet: &Facet) -> Bounds {
    let mut around = Bounds::EMPTY;
    facet.iter().for_each(|&p| around.include(p));
    around
}

/// The least distance of facets and a mesh, as far as it is below `reach`; else infinite.
fn near(ours: &[Facet], theirs: &Mesh, tree: &Bvh<'_>, reach: f64) -> f64 {
    let Some(there) = theirs.bounds() else { return f64::INFINITY };
    let there = there.grown(reach);
    let mut least = f64::INFINITY;
    for facet in ours {
        let around = around_facet(facet);
        if !around.touches(&there) {
            continue;
        }
        tree.touching(&around.grown(reach), |n| {
            let other = theirs.corners(theirs.triangles()[n as usize]);
            least = least.min(facet_distance(facet, &other));
            least > 0.0
        });
        if least == 0.0 {
            break;
        }
    }
    if least <= reach { least } else { f64::INFINITY }
}

/// The least distance of facets and one more, as far as it is below `reach`; else infinite.
fn distance(facets: &[Facet], one: Facet, reach: f64) -> f64 {
    let there = around_facet(&one).grown(reach);
    let close = facets.iter().filter(|facet| around_facet(facet).touches(&there));
    let least = close.map(|facet| facet_distance(facet, &one)).fold(f64::INFINITY, f64::min);
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
