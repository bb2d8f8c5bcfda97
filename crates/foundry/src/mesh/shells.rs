//! The shells of a surface: their sums, and what they are to each other.

use super::measure::Shell;
use super::nesting::Judged;
use super::sum::Sum;
use super::topology::{Hole, NO_SHELL, Topology};
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
    pub(crate) moment: Point,
    pub(crate) open: bool,
    /// Its facets, when there are several shells.
    pub(crate) facets: Vec<u32>,
}

/// Sums volume, area and moment of each shell, open ones closed with fans over their holes.
pub(crate) fn sum_up(
    mesh: &Mesh,
    topology: &Topology,
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
        enclose(running, [a, b, c]);
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
