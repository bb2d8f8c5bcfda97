//! What the shells of a surface are to each other, and what they enclose together.

use std::collections::BTreeSet;

use super::bvh::Bvh;
use super::contact::{Among, Contacts, unit_normal};
use super::problem::{Problem, ProblemKind, Spot};
use super::shells::{Role, ShellSum, sum_up};
use super::sum::Sum;
use super::topology::{EdgeTable, Topology, turned_mesh};
use super::union::{touch_of, united};
use super::winding::WindingTree;
use super::{Bounds, Mesh, Point, vec3};
use crate::quantity::QuantityRefusal;

/// What the shells are together.
pub(crate) struct Judged {
    /// What they enclose; `None` when they cut each other in too many places to tell.
    pub(crate) volume: Option<f64>,
    pub(crate) error: f64,
    pub(crate) centre_of_mass: Option<Point>,
    pub(crate) roles: Vec<Role>,
    inside_out: Vec<u32>,
    flat: Vec<u32>,
    overlapping: Vec<(u32, u32)>,
}

/// Finds which shells lie inside which others, which overlap, and what they enclose together.
///
/// Where no shells overlap, the space inside a shell is wound around once more (or, by a
/// shell facing inwards, once less) than the space just outside it; solid is what is wound
/// around at least once. So each shell adds its volume, takes it away, or changes nothing.
/// Where shells meet, the volume is that of their union.
pub(crate) fn judge(
    mesh: &Mesh,
    table: &EdgeTable,
    topology: &Topology,
    sums: &[ShellSum],
    origin: Point,
) -> Result<Judged, QuantityRefusal> {
    let touch = touch_of(mesh);
    let apart = (0..sums.len())
        .all(|a| (0..a).all(|b| !sums[a].bounds.grown(touch).touches(&sums[b].bounds)));
    if apart {
        let nesting = Nesting::none(sums.len());
        return Ok(Standing::of(sums, &nesting).judged(sums, origin));
    }
    let tree = Bvh::new(mesh);
    let contacts = Contacts::find(&tree, &topology.shell_of, Among::Shells, touch);
    let pairs = contacts.as_ref().map(|contacts| meeting(contacts, &topology.shell_of));
    let nesting = Nesting::find(mesh, sums, pairs.as_ref().unwrap_or(&BTreeSet::new()));
    let standing = Standing::of(sums, &nesting);
    let mut judged = standing.judged(sums, origin);
    let (Some(contacts), Some(pairs)) = (contacts, pairs) else {
        judged.volume = None;
        judged.centre_of_mass = None;
        return Ok(judged);
    };
    if contacts.is_empty() {
        return Ok(judged);
    }
    let turns = |facet: usize| {
        standing.turns.get(topology.shell_of[facet] as usize).copied().unwrap_or(false)
    };
    let turned = standing.turns.contains(&true).then(|| turned_mesh(mesh, turns));
    let tree = turned.as_ref().map_or(tree, Bvh::new);
    let union = united(tree, table, &topology.shell_of, &contacts, touch)?;
    let sum = judged.volume.unwrap_or(0.0);
    // Bodies that merely touch have the sum as their union, and the sum has the better digits.
    let volume = union.volume.get();
    if (volume - sum).abs() > union.error.get() + sum * 1.0e-9 {
        judged.volume = Some(volume);
        judged.error = union.error.get();
        judged.centre_of_mass = union.centre_of_mass;
        let mixed = nesting.mixed;
        judged.overlapping = if mixed.is_empty() { pairs.into_iter().collect() } else { mixed };
    }
    Ok(judged)
}

/// For each facet of a closed surface whose neighbours agree, whether its whole shell is
/// inside out and no hollow.
pub(crate) fn inside_out_facets(mesh: &Mesh, topology: &Topology) -> Vec<bool> {
    let origin = mesh.bounds().map_or([0.0; 3], |bounds| bounds.centre());
    let sums = sum_up(mesh, topology, &[], origin);
    let apart = |a: usize| (0..a).all(|b| !sums[a].bounds.touches(&sums[b].bounds));
    let nesting = if (0..sums.len()).all(apart) {
        Nesting::none(sums.len())
    } else {
        let tree = Bvh::new(mesh);
        let contacts = Contacts::find(&tree, &topology.shell_of, Among::Shells, touch_of(mesh));
        let pairs = contacts.map(|contacts| meeting(&contacts, &topology.shell_of));
        Nesting::find(mesh, &sums, &pairs.unwrap_or_default())
    };
    let turns = Standing::of(&sums, &nesting).turns;
    let shell_turns = |&shell: &u32| turns.get(shell as usize).copied().unwrap_or(false);
    topology.shell_of.iter().map(shell_turns).collect()
}

/// The pairs of shells of which facets meet, the lower number first.
fn meeting(contacts: &Contacts, shell_of: &[u32]) -> BTreeSet<(u32, u32)> {
    let mut pairs = BTreeSet::new();
    for (facet, &shell) in shell_of.iter().enumerate() {
        let others = contacts.of(facet).iter().map(|&other| shell_of[other as usize]);
        pairs.extend(others.filter(|&other| shell < other).map(|other| (shell, other)));
    }
    pairs
}

/// Which shells lie inside which.
struct Nesting {
    /// For each shell those that hold it whole.
    around: Vec<Vec<usize>>,
    /// Pairs of which one lies partly inside the other.
    mixed: Vec<(u32, u32)>,
}

impl Nesting {
    fn none(shells: usize) -> Self {
        Self { around: vec![Vec::new(); shells], mixed: Vec::new() }
    }

    fn find(mesh: &Mesh, sums: &[ShellSum], meeting: &BTreeSet<(u32, u32)>) -> Self {
        let mut nesting = Self::none(sums.len());
        for (outer, sum) in sums.iter().enumerate() {
            // Built only for shells whose box holds something of another.
            let mut tree = None;
            for (inner, other) in sums.iter().enumerate() {
                if outer == inner || !sum.bounds.touches(&other.bounds) {
                    continue;
                }
                let pair = (outer.min(inner) as u32, outer.max(inner) as u32);
                let meets = meeting.contains(&pair);
                if !meets && !sum.bounds.holds(&other.bounds) {
                    continue;
                }
                let tree = tree.get_or_insert_with(|| WindingTree::of(mesh, &sum.facets));
                match position(mesh, tree, &sum.bounds, other, if meets { SAMPLES } else { 1 }) {
                    Position::Outside => {}
                    Position::Inside => nesting.around[inner].push(outer),
                    Position::Both => nesting.mixed.push(pair),
                }
            }
        }
        nesting.mixed.sort_unstable();
        nesting.mixed.dedup();
        nesting
    }
}

/// How many facets of a shell are asked where they lie, when it meets another.
const SAMPLES: usize = 48;

#[derive(PartialEq)]
enum Position {
    Outside,
    Inside,
    Both,
}

/// Where the inner side of one shell's facets lies with respect to another shell.
///
/// A sample of its facets is asked; the points lie a little inside, so that shells which
/// share a face are told from shells that share a space.
fn position(
    mesh: &Mesh,
    outer: &WindingTree<'_>,
    outer_bounds: &Bounds,
    inner: &ShellSum,
    samples: usize,
) -> Position {
    let depth = inner.bounds.diagonal() * 1.0e-6;
    let inward = if inner.volume < 0.0 { depth } else { -depth };
    let middle = |facet: u32| {
        let corners = mesh.corners(mesh.triangles()[facet as usize]);
        let centre = corners.into_iter().fold([0.0; 3], vec3::add);
        let step = vec3::scale(unit_normal(corners), inward);
        vec3::add(vec3::scale(centre, 1.0 / 3.0), step)
    };
    let facets = inner.facets.len();
    let sampled = facets.min(samples);
    let inside = (0..sampled)
        .map(|at| middle(inner.facets[at * facets / sampled]))
        .filter(|&p| outer_bounds.holds(&Bounds { least: p, greatest: p }))
        .filter(|&p| outer.at(p).abs() > 0.5)
        .count();
    if inside == 0 {
        Position::Outside
    } else if inside == sampled {
        Position::Inside
    } else {
        Position::Both
    }
}

/// Which shells face the wrong way, and what each adds.
struct Standing {
    turns: Vec<bool>,
    inside_out: Vec<u32>,
    /// One for a body, minus one for a hollow, zero for what changes nothing.
    shares: Vec<f64>,
}

impl Standing {
    fn of(sums: &[ShellSum], nesting: &Nesting) -> Self {
        let around = &nesting.around;
        let mut order: Vec<usize> = (0..sums.len()).collect();
        order.sort_by_key(|&shell| around[shell].len());
        let mut facing = vec![0_i32; sums.len()];
        let mut standing = Self {
            turns: vec![false; sums.len()],
            inside_out: Vec::new(),
            shares: vec![0.0; sums.len()],
        };
        for shell in order {
            let outside: i32 = around[shell].iter().map(|&outer| facing[outer]).sum();
            // A file that is inside out as a whole has its hollows inside out as well.
            let root = around[shell].iter().find(|&&outer| around[outer].is_empty());
            let mut turn = root.is_some_and(|&root| standing.turns[root]);
            let inwards = (sums[shell].volume < 0.0) != turn;
            facing[shell] = if inwards { -1 } else { 1 };
            if outside <= 0 && inwards {
                facing[shell] = 1;
                turn = !turn;
                standing.inside_out.push(shell as u32);
            }
            standing.turns[shell] = turn;
            let inside = outside + facing[shell];
            standing.shares[shell] = f64::from(i32::from(inside >= 1) - i32::from(outside >= 1));
        }
        standing
    }

    /// What follows when no shells overlap.
    fn judged(&self, sums: &[ShellSum], origin: Point) -> Judged {
        let mut volume = Sum::default();
        let mut moment = [Sum::default(); 3];
        for (sum, share) in sums.iter().zip(&self.shares) {
            volume.add(share * sum.volume.abs());
            for (total, part) in moment.iter_mut().zip(sum.moment) {
                total.add(share * sum.volume.signum() * part);
            }
        }
        let volume = volume.get().max(0.0);
        let centre_of_mass =
            (volume > 0.0).then(|| vec3::add(origin, moment.map(|total| total.get() / volume)));
        let role = |(sum, share): (&ShellSum, &f64)| match (sum.open, *share) {
            (true, _) => Role::Open,
            (false, 1.0) => Role::Body,
            (false, -1.0) => Role::Void,
            _ => Role::Nested,
        };
        let is_flat = |sum: &ShellSum| sum.volume.abs() <= FLAT * sum.area.powf(1.5);
        Judged {
            volume: Some(volume),
            error: 0.0,
            centre_of_mass,
            roles: sums.iter().zip(&self.shares).map(role).collect(),
            inside_out: self.inside_out.clone(),
            flat: (0..sums.len() as u32).filter(|&at| is_flat(&sums[at as usize])).collect(),
            overlapping: Vec::new(),
        }
    }
}

/// Volume over area to the power of 3/2, below which a shell encloses nothing; a ball has 0.094.
const FLAT: f64 = 1.0e-10;

impl Judged {
    /// Adds what was found to the list of problems.
    pub(crate) fn report(&self, sums: &[ShellSum], problems: &mut Vec<Problem>) {
        let mut report = |kind, count: usize, boxes: &mut dyn Iterator<Item = Bounds>| {
            let mut bounds = Bounds::EMPTY;
            boxes.for_each(|each| bounds.include_box(&each));
            if count > 0 {
                problems.push(Problem { kind, count, spot: Spot::Within(bounds) });
            }
        };
        let with_role = |role| -> Vec<u32> {
            (0..sums.len() as u32).filter(|&at| self.roles[at as usize] == role).collect()
        };
        let bodies = Some(with_role(Role::Body)).filter(|bodies| bodies.len() > 1);
        for (kind, shells) in [
            (ProblemKind::InsideOut, &self.inside_out),
            (ProblemKind::FlatShells, &self.flat),
            (ProblemKind::EnclosedVoid, &with_role(Role::Void)),
            (ProblemKind::NestedSolid, &with_role(Role::Nested)),
            (ProblemKind::SeparateBodies, &bodies.unwrap_or_default()),
        ] {
            report(kind, shells.len(), &mut shells.iter().map(|&at| sums[at as usize].bounds));
        }
        let shared =
            |&(a, b): &(u32, u32)| sums[a as usize].bounds.common(&sums[b as usize].bounds);
        let pairs = &self.overlapping;
        report(ProblemKind::OverlappingShells, pairs.len(), &mut pairs.iter().map(shared));
        if self.volume.is_none() {
            let bounds = &mut sums.iter().map(|sum| sum.bounds);
            report(ProblemKind::TooTangled, sums.len(), bounds);
        }
    }
}
