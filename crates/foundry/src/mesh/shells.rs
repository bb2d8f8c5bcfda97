//! The shells of a surface: their sums, and what they are to each other.

use super::measure::Shell;
use super::overlap::piercing_pairs;
use super::problem::{Problem, ProblemKind, Spot};
use super::sum::Sum;
use super::topology::{Hole, NO_SHELL, Topology};
use super::winding::share_of_view;
use super::{Bounds, Mesh, Point, vec3};
use crate::quantity::{CubicMillimetres, QuantityRefusal, SquareMillimetres};

/// What a shell is to the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The outside of a body.
    Body,
    /// The wall of a hollow in a body.
    Void,
    /// A solid that lies inside another and adds nothing to it.
    Nested,
    /// Not closed.
    Open,
}

/// What is summed over the facets of a shell.
pub(crate) struct ShellSum {
    pub(crate) triangles: usize,
    pub(crate) area: f64,
    pub(crate) bounds: Bounds,
    /// Negative when the shell faces inwards.
    pub(crate) volume: f64,
    /// Volume times centre, about the origin handed in.
    moment: Point,
    pub(crate) open: bool,
    facets: Vec<u32>,
}

/// Sums volume, area and moment of each shell, open ones closed with fans over their holes.
pub(crate) fn sum_up(
    mesh: &Mesh,
    topology: &Topology,
    turned: &[bool],
    holes: &[Hole],
    origin: Point,
) -> Vec<ShellSum> {
    struct Running {
        triangles: usize,
        volume: Sum,
        area: Sum,
        moment: [Sum; 3],
        bounds: Bounds,
        facets: Vec<u32>,
        open: bool,
    }
    let mut all: Vec<Running> = (0..topology.shells)
        .map(|_| Running {
            triangles: 0,
            volume: Sum::default(),
            area: Sum::default(),
            moment: [Sum::default(); 3],
            bounds: Bounds::EMPTY,
            facets: Vec::new(),
            open: false,
        })
        .collect();
    let enclose = |running: &mut Running, [a, b, c]: [Point; 3]| {
        let six_volumes = vec3::dot(a, vec3::cross(b, c));
        running.volume.add(six_volumes);
        for axis in 0..3 {
            running.moment[axis].add(six_volumes * (a[axis] + b[axis] + c[axis]));
        }
    };
    for (facet, corners) in mesh.facets().enumerate() {
        let shell = topology.shell_of[facet];
        if shell == NO_SHELL {
            continue;
        }
        let running = &mut all[shell as usize];
        running.triangles += 1;
        corners.into_iter().for_each(|corner| running.bounds.include(corner));
        let [a, b, c] = corners.map(|corner| vec3::sub(corner, origin));
        running.area.add(vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))));
        let turn = turned.get(facet).copied().unwrap_or(false);
        enclose(running, if turn { [a, c, b] } else { [a, b, c] });
        if topology.shells > 1 {
            running.facets.push(facet as u32);
        }
    }
    for hole in holes {
        let running = &mut all[topology.shell_of[hole.facet as usize] as usize];
        running.open = true;
        each_fan_facet(mesh, &hole.rim, |corners| {
            enclose(running, corners.map(|corner| vec3::sub(corner, origin)));
        });
    }
    all.into_iter()
        .map(|running| ShellSum {
            triangles: running.triangles,
            area: running.area.get() / 2.0,
            bounds: running.bounds,
            volume: running.volume.get() / 6.0,
            moment: running.moment.map(|sum| sum.get() / 24.0),
            open: running.open,
            facets: running.facets,
        })
        .collect()
}

/// The facets of a lid: a fan about the middle of the rim.
fn each_fan_facet(mesh: &Mesh, rim: &[u32], mut each: impl FnMut([Point; 3])) {
    let points = mesh.vertices();
    let sum = rim.iter().fold([0.0; 3], |sum, &index| vec3::add(sum, points[index as usize]));
    let middle = vec3::scale(sum, 1.0 / rim.len() as f64);
    for (at, &from) in rim.iter().enumerate() {
        let to = rim[(at + 1) % rim.len()];
        each([points[from as usize], points[to as usize], middle]);
    }
}

/// The area of the lid of a hole.
pub(crate) fn fan_area(mesh: &Mesh, rim: &[u32]) -> f64 {
    let mut area = 0.0;
    each_fan_facet(mesh, rim, |[a, b, c]| {
        area += vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))) / 2.0;
    });
    area
}

/// What the shells are together.
pub(crate) struct Judged {
    pub(crate) volume: f64,
    pub(crate) centre_of_mass: Option<Point>,
    roles: Vec<Role>,
    inside_out: Vec<u32>,
    flat: Vec<u32>,
    overlapping: Vec<(u32, u32)>,
}

/// Finds which shells lie inside which others, which overlap, and what they enclose together.
///
/// Where no shells overlap, the space inside a shell is wound around once more (or, by a
/// shell facing inwards, once less) than the space just outside it; solid is what is wound
/// around at least once. So each shell adds its volume, takes it away, or changes nothing.
/// Where shells overlap the result is the sum, which is too large.
pub(crate) fn judge(mesh: &Mesh, topology: &Topology, sums: &[ShellSum], origin: Point) -> Judged {
    let bounds: Vec<Bounds> = sums.iter().map(|sum| sum.bounds).collect();
    let mut overlapping: Vec<(u32, u32)> =
        piercing_pairs(mesh, topology, &bounds).into_iter().collect();
    overlapping.sort_unstable();
    let pierced: std::collections::HashSet<(u32, u32)> = overlapping.iter().copied().collect();
    let mut around: Vec<Vec<usize>> = vec![Vec::new(); sums.len()];
    for outer in 0..sums.len() {
        for inner in 0..sums.len() {
            let pair = (outer.min(inner) as u32, outer.max(inner) as u32);
            if outer == inner || !bounds[outer].touches(&bounds[inner]) || pierced.contains(&pair) {
                continue;
            }
            match position(mesh, &sums[outer], &sums[inner]) {
                Position::Outside => {}
                Position::Inside => around[inner].push(outer),
                Position::Both => overlapping.push(pair),
            }
        }
    }
    overlapping.sort_unstable();
    overlapping.dedup();

    let mut order: Vec<usize> = (0..sums.len()).collect();
    order.sort_by_key(|&shell| around[shell].len());
    let mut turns = vec![false; sums.len()];
    let mut facing = vec![0_i32; sums.len()];
    let mut judged = Judged {
        volume: 0.0,
        centre_of_mass: None,
        roles: vec![Role::Body; sums.len()],
        inside_out: Vec::new(),
        flat: Vec::new(),
        overlapping,
    };
    let mut volume = Sum::default();
    let mut moment = [Sum::default(); 3];
    for shell in order {
        let sum = &sums[shell];
        if sum.volume.abs() <= FLAT * sum.area.powf(1.5) {
            judged.flat.push(shell as u32);
        }
        let outside: i32 = around[shell].iter().map(|&outer| facing[outer]).sum();
        // A file that is inside out as a whole has its hollows inside out as well.
        let root = around[shell].iter().find(|&&outer| around[outer].is_empty());
        let turn = root.is_some_and(|&root| turns[root]);
        facing[shell] = if (sum.volume < 0.0) == turn { 1 } else { -1 };
        turns[shell] = turn;
        if outside <= 0 && facing[shell] < 0 {
            facing[shell] = 1;
            turns[shell] = !turn;
            judged.inside_out.push(shell as u32);
        }
        let inside = outside + facing[shell];
        let share = f64::from(i32::from(inside >= 1) - i32::from(outside >= 1));
        judged.roles[shell] = match (sum.open, share) {
            (true, _) => Role::Open,
            (false, 1.0) => Role::Body,
            (false, -1.0) => Role::Void,
            _ => Role::Nested,
        };
        volume.add(share * sum.volume.abs());
        for (total, part) in moment.iter_mut().zip(sum.moment) {
            total.add(share * sum.volume.signum() * part);
        }
    }
    judged.volume = volume.get();
    if judged.volume > 0.0 {
        let offset = moment.map(|total| total.get() / judged.volume);
        judged.centre_of_mass = Some(vec3::add(origin, offset));
    }
    judged
}

/// Volume over area to the power of 3/2, below which a shell encloses nothing; a ball has 0.094.
const FLAT: f64 = 1.0e-10;

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
fn position(mesh: &Mesh, outer: &ShellSum, inner: &ShellSum) -> Position {
    const SAMPLES: usize = 24;
    let depth = inner.bounds.diagonal() * 1.0e-6;
    let inward = if inner.volume < 0.0 { depth } else { -depth };
    let triangles = mesh.triangles();
    let middle = |facet: u32| {
        let [a, b, c] = mesh.corners(triangles[facet as usize]);
        let normal = vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)));
        let centre = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
        vec3::add(centre, vec3::scale(normal, inward))
    };
    let reached: Vec<Point> = inner
        .facets
        .iter()
        .map(|&facet| middle(facet))
        .filter(|p| outer.bounds.holds(&Bounds { least: *p, greatest: *p }))
        .collect();
    let sampled = reached.len().min(SAMPLES);
    let inside = (0..sampled)
        .filter(|at| {
            let point = reached[at * reached.len() / sampled];
            let winding: f64 = outer
                .facets
                .iter()
                .map(|&facet| share_of_view(point, mesh.corners(triangles[facet as usize])))
                .sum();
            winding.abs() > 0.5
        })
        .count();
    if inside == 0 {
        Position::Outside
    } else if inside == sampled && reached.len() == inner.facets.len() {
        Position::Inside
    } else {
        Position::Both
    }
}

impl Judged {
    /// Adds what was found to the list of problems.
    pub(crate) fn report(&self, sums: &[ShellSum], problems: &mut Vec<Problem>) {
        let mut report = |kind, shells: &mut dyn Iterator<Item = usize>| {
            let mut bounds = Bounds::EMPTY;
            let mut count = 0;
            for shell in shells {
                bounds.include_box(&sums[shell].bounds);
                count += 1;
            }
            if count > 0 {
                problems.push(Problem { kind, count, spot: Spot::Within(bounds) });
            }
        };
        let with = |role| {
            self.roles.iter().enumerate().filter(move |(_, r)| **r == role).map(|(at, _)| at)
        };
        report(ProblemKind::InsideOut, &mut self.inside_out.iter().map(|&s| s as usize));
        report(ProblemKind::FlatShells, &mut self.flat.iter().map(|&s| s as usize));
        report(ProblemKind::EnclosedVoid, &mut with(Role::Void));
        report(ProblemKind::NestedSolid, &mut with(Role::Nested));
        if with(Role::Body).count() > 1 {
            report(ProblemKind::SeparateBodies, &mut with(Role::Body));
        }
        let mut bounds = Bounds::EMPTY;
        for &(a, b) in &self.overlapping {
            let (a, b) = (&sums[a as usize].bounds, &sums[b as usize].bounds);
            for axis in 0..3 {
                let least = a.least[axis].max(b.least[axis]);
                let greatest = a.greatest[axis].min(b.greatest[axis]);
                bounds.least[axis] = bounds.least[axis].min(least);
                bounds.greatest[axis] = bounds.greatest[axis].max(greatest);
            }
        }
        if !self.overlapping.is_empty() {
            let kind = ProblemKind::OverlappingShells;
            let count = self.overlapping.len();
            problems.push(Problem { kind, count, spot: Spot::Within(bounds) });
        }
    }
}

/// The shells as they are shown.
pub(crate) fn describe(
    sums: &[ShellSum],
    judged: Option<&Judged>,
) -> Result<Vec<Shell>, QuantityRefusal> {
    sums.iter()
        .enumerate()
        .map(|(at, sum)| {
            let role = judged.map_or(Role::Open, |judged| judged.roles[at]);
            let closed = role != Role::Open;
            Ok(Shell {
                triangles: sum.triangles,
                volume: closed.then(|| CubicMillimetres::new(sum.volume.abs())).transpose()?,
                area: SquareMillimetres::new(sum.area)?,
                bounds: sum.bounds,
                role,
            })
        })
        .collect()
}
