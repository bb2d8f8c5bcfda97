//! The shells of a surface: their sums, and what they are to each other.

use rayon::prelude::*;

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
    pub(crate) area: f64,
    pub(crate) bounds: Bounds,
    /// Negative when the shell faces inwards.
    pub(crate) volume: f64,
    /// Volume times centre, about the origin handed in.
    pub(crate) moment: Point,
    pub(crate) open: bool,
    /// Its facets.
    pub(crate) facets: Vec<u32>,
}

/// Sums volume, area and moment of each shell, open ones closed with fans over their holes.
pub(crate) fn sum_up(
    mesh: &Mesh,
    topology: &Topology,
    holes: &[Hole],
    origin: Point,
) -> Vec<ShellSum> {
    let mut facets_of = vec![Vec::new(); topology.shells];
    for (facet, &shell) in topology.shell_of.iter().enumerate() {
        if shell != NO_SHELL {
            facets_of[shell as usize].push(facet as u32);
        }
    }
    let mut all: Vec<Running> =
        facets_of.iter().map(|facets| Running::over(mesh, facets, origin)).collect();
    let mut open = vec![false; topology.shells];
    for hole in holes {
        let shell = topology.shell_of[hole.facet as usize] as usize;
        open[shell] = true;
        each_fan_facet(mesh, &hole.rim, |corners| all[shell].enclose(corners, origin));
    }
    all.into_iter()
        .zip(facets_of.into_iter().zip(open))
        .map(|(running, (facets, open))| ShellSum {
            area: running.area.get() / 2.0,
            bounds: running.bounds,
            volume: running.volume.get() / 6.0,
            moment: running.moment.map(|sum| sum.get() / 24.0),
            open,
            facets,
        })
        .collect()
}

/// Sums in the making: twice the area, six times the volume, 24 times the moment.
struct Running {
    volume: Sum,
    area: Sum,
    moment: [Sum; 3],
    bounds: Bounds,
}

impl Running {
    const EMPTY: Self =
        Self { volume: Sum::ZERO, area: Sum::ZERO, moment: [Sum::ZERO; 3], bounds: Bounds::EMPTY };

    /// The sums over some facets: in parts at the same time, and the parts in their order,
    /// so that the digits do not depend on who came first.
    fn over(mesh: &Mesh, facets: &[u32], origin: Point) -> Self {
        let parts: Vec<Self> = facets
            .par_chunks(1 << 14)
            .map(|some| {
                let mut part = Self::EMPTY;
                for &facet in some {
                    let corners = mesh.corners(mesh.triangles()[facet as usize]);
                    corners.into_iter().for_each(|corner| part.bounds.include(corner));
                    let [a, b, c] = corners;
                    part.area.add(vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))));
                    part.enclose(corners, origin);
                }
                part
            })
            .collect();
        parts.iter().fold(Self::EMPTY, |mut all, part| {
            all.volume.include(part.volume);
            all.area.include(part.area);
            all.moment.iter_mut().zip(part.moment).for_each(|(all, part)| all.include(part));
            all.bounds.include_box(&part.bounds);
            all
        })
    }

    /// Adds the tetrahedron from the origin to a facet.
    fn enclose(&mut self, corners: [Point; 3], origin: Point) {
        let [a, b, c] = corners.map(|corner| vec3::sub(corner, origin));
        let six_volumes = vec3::dot(a, vec3::cross(b, c));
        self.volume.add(six_volumes);
        for axis in 0..3 {
            self.moment[axis].add(six_volumes * (a[axis] + b[axis] + c[axis]));
        }
    }
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
                triangles: sum.facets.len(),
                volume: closed.then(|| CubicMillimetres::new(sum.volume.abs())).transpose()?,
                area: SquareMillimetres::new(sum.area)?,
                bounds: sum.bounds,
                role,
            })
        })
        .collect()
}
