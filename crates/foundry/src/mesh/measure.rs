//! Measures a model: volume, area, size, and what is wrong with it.

use std::borrow::Cow;

use rayon::prelude::*;

use super::nesting::judge;
use super::problem::{Problem, ProblemKind, Spot};
use super::shells::{self, Role};
use super::topology::{
    EdgeTable, Hole, MOST_SHELLS, NO_SHELL, Topology, agreeing, surplus_facets, turned_mesh,
};
use super::{Bounds, Mesh, MeshRefusal, ModelFile, Point, Unit, vec3};
use crate::quantity::{CubicMillimetres, Millimetres, QuantityRefusal, SquareMillimetres};

/// The measurements of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// The number of triangles.
    pub triangles: usize,
    /// The number of points after welding.
    pub vertices: usize,
    /// What the surface encloses: hollows do not count, what bodies share counts once.
    /// `None` when it encloses nothing: open or not orientable.
    pub volume: Option<CubicMillimetres>,
    /// How far off the volume may be because of small cracks or bodies cutting through
    /// each other; zero otherwise.
    pub volume_error: CubicMillimetres,
    /// The area of all facets, also of those inside other bodies.
    pub area: SquareMillimetres,
    /// The box around the model, in millimetres.
    pub bounds: Bounds,
    /// Length, breadth and height along x, y and z.
    pub size: [Millimetres; 3],
    /// The centre of mass of an even filling, in millimetres; `None` without a volume.
    pub centre_of_mass: Option<Point>,
    /// How many parts there are that are connected over edges.
    pub shell_count: usize,
    /// These parts, unless there are more than 5000 of them.
    pub shells: Vec<Shell>,
    /// Whether no edge is open.
    pub closed: bool,
    /// Points minus edges plus facets: 2 for each body without holes through it.
    pub euler: i64,
    /// The number of holes through the model, all bodies together; `None` when it is
    /// open or its edges are crowded.
    pub handles: Option<i64>,
    /// What is wrong or remarkable, the gravest first.
    pub problems: Vec<Problem>,
}

/// A part of the surface connected over edges.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    /// The number of triangles.
    pub triangles: usize,
    /// The volume it encloses by itself; `None` when it is open.
    pub volume: Option<CubicMillimetres>,
    /// Its area.
    pub area: SquareMillimetres,
    /// The box around it, in millimetres.
    pub bounds: Bounds,
    /// What it is to the others.
    pub role: Role,
}

/// Why a model could not be measured.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MeasureRefusal {
    /// It has no triangles.
    #[error("The model has no triangles, so there is nothing to measure.")]
    Empty,
    /// In this unit its numbers are beyond what is measured.
    #[error(
        "Its longest side would be {longest_mm:.0} mm, beyond 1 km, which is the most that is measured. Check the unit."
    )]
    TooLarge {
        /// The longest side.
        longest_mm: f64,
    },
}

impl From<QuantityRefusal> for MeasureRefusal {
    fn from(_: QuantityRefusal) -> Self {
        Self::TooLarge { longest_mm: f64::INFINITY }
    }
}

impl From<MeshRefusal> for MeasureRefusal {
    fn from(_: MeshRefusal) -> Self {
        Self::TooLarge { longest_mm: f64::INFINITY }
    }
}

/// Measures a model whose numbers are in the given unit.
///
/// # Units
/// Millimetres and their powers, in the types.
///
/// # Source
/// Volume and centre by signed tetrahedra: C. Zhang, T. Chen, Efficient feature
/// extraction for 2D/3D objects in mesh representation, ICIP 2001; B. Mirtich, Fast and
/// accurate computation of polyhedral mass properties, J. Graphics Tools 1(2), 1996.
///
/// # Assumes
/// Facets run anticlockwise seen from outside; where they disagree with their neighbours
/// the minority is turned for the measurement.
///
/// # Accuracy
/// Sums are compensated and taken about the middle of the box: moving or turning a
/// model changes the last digits only. Closed forms are met to 1e-12 relative.
///
/// # Refuses
/// A model without triangles, or larger than 1 km in this unit.
pub fn measure(model: &ModelFile, unit: Unit) -> Result<Measure, MeasureRefusal> {
    match unit {
        Unit::Millimetre => measure_mesh(&model.mesh),
        other => measure_mesh(&model.mesh.scaled(other.in_millimetres())?),
    }
}

/// Measures a mesh in millimetres whose equal points have been welded; otherwise as [`measure`].
///
/// # Refuses
/// See [`MeasureRefusal`].
pub fn measure_mesh(mesh: &Mesh) -> Result<Measure, MeasureRefusal> {
    let bounds = mesh.bounds().ok_or(MeasureRefusal::Empty)?;
    let longest_mm = bounds.longest();
    if longest_mm > 1.0e6 {
        return Err(MeasureRefusal::TooLarge { longest_mm });
    }
    let table = EdgeTable::new(mesh);
    let (surplus, topology) =
        rayon::join(|| surplus_facets(mesh, &table), || Topology::new(mesh, &table));
    if !surplus.is_empty() {
        drop((table, topology));
        return measure_without(mesh, &surplus);
    }
    let mut problems = Vec::new();
    let turned =
        if topology.turned_edges.is_empty() { Some(Vec::new()) } else { agreeing(mesh, &table) };
    let orientable = turned.is_some();
    let turned = turned.unwrap_or_default();
    let facing = if turned.contains(&true) {
        Cow::Owned(turned_mesh(mesh, |facet| turned[facet]))
    } else {
        Cow::Borrowed(mesh)
    };
    let holes = topology.holes(mesh);
    let sums = shells::sum_up(&facing, &topology, &holes, bounds.centre());
    let gap = orientable.then(|| tiny_gap(mesh, &holes)).flatten();
    let encloses = orientable && topology.shells > 0;
    let judged =
        encloses.then(|| judge(&facing, &table, &topology, &sums, bounds.centre())).transpose()?;
    drop(table);

    let mut volume = None;
    let mut centre_of_mass = None;
    let mut volume_error = CubicMillimetres::ZERO;
    if let Some((judged, enclosed)) = judged.as_ref().and_then(|j| j.volume.map(|v| (j, v))) {
        let error = if topology.is_closed() { Some(0.0) } else { gap };
        if let Some(error) = error.filter(|&error| error <= enclosed * TINY_SHARE) {
            volume = Some(CubicMillimetres::new(enclosed)?);
            volume_error = CubicMillimetres::new(error + judged.error)?;
            centre_of_mass = judged.centre_of_mass;
        }
    }
    let shells = if topology.shell_count > MOST_SHELLS {
        problems.push(Problem {
            kind: ProblemKind::TooManyShells,
            count: topology.shell_count,
            spot: Spot::Within(bounds),
        });
        Vec::new()
    } else {
        shells::describe(&sums, judged.as_ref())?
    };

    report_holes(mesh, &holes, volume.is_some(), &mut problems);
    report_facets(mesh, &topology, &turned, orientable, bounds.diagonal(), &mut problems);
    if let Some(judged) = &judged {
        judged.report(&sums, &mut problems);
    }
    sort_by_gravity(&mut problems);

    let solid = topology.is_closed() && topology.crowded_edges.is_empty();
    let area: f64 = sums.iter().map(|sum| sum.area).sum();
    Ok(Measure {
        triangles: mesh.triangles().len(),
        vertices: mesh.vertices().len(),
        volume,
        volume_error,
        area: SquareMillimetres::new(area)?,
        bounds,
        size: size_of(&bounds)?,
        centre_of_mass,
        closed: topology.is_closed(),
        euler: topology.euler,
        handles: solid.then(|| topology.shell_count as i64 - topology.euler / 2),
        shell_count: topology.shell_count,
        shells,
        problems,
    })
}

/// Measures the mesh less its doubled facets, and says so.
fn measure_without(mesh: &Mesh, surplus: &[u32]) -> Result<Measure, MeasureRefusal> {
    let mut next = surplus.iter().peekable();
    let kept = mesh.triangles().iter().enumerate().filter(|(facet, _)| {
        let dropped = next.peek().is_some_and(|&&due| due as usize == *facet);
        if dropped {
            next.next();
        }
        !dropped
    });
    let kept: Vec<[u32; 3]> = kept.map(|(_, triangle)| *triangle).collect();
    let mut measure = measure_mesh(&Mesh::trusted(mesh.vertices().to_vec(), kept))?;
    measure.triangles = mesh.triangles().len();
    let points = surplus.iter().flat_map(|&facet| mesh.corners(mesh.triangles()[facet as usize]));
    let doubled = Problem::around(ProblemKind::DoubledFacets, surplus.len(), points);
    measure.problems.extend(doubled);
    sort_by_gravity(&mut measure.problems);
    Ok(measure)
}

fn sort_by_gravity(problems: &mut [Problem]) {
    problems.sort_by_key(|problem| (std::cmp::Reverse(problem.kind.gravity()), problem.kind));
}

fn size_of(bounds: &Bounds) -> Result<[Millimetres; 3], QuantityRefusal> {
    let [x, y, z] = bounds.size();
    Ok([Millimetres::new(x)?, Millimetres::new(y)?, Millimetres::new(z)?])
}

/// Largest share of the volume that open cracks may put in doubt without hiding it.
const TINY_SHARE: f64 = 1.0e-4;

/// A bound on the volume that the lids of all holes can add or take.
///
/// The volume is that with each hole closed by a fan about the middle of its rim; any
/// other lid within the hole's reach differs by less than the lid's area times that reach.
fn tiny_gap(mesh: &Mesh, holes: &[Hole]) -> Option<f64> {
    let mut bound = 0.0;
    for hole in holes {
        if !hole.complete {
            return None;
        }
        bound += shells::fan_area(mesh, &hole.rim) * hole.bounds.diagonal();
    }
    Some(bound)
}

fn report_holes(mesh: &Mesh, holes: &[Hole], has_volume: bool, problems: &mut Vec<Problem>) {
    let kind = if has_volume { ProblemKind::TinyHoles } else { ProblemKind::OpenEdges };
    let rims = holes.iter().flat_map(|hole| &hole.rim);
    let points = rims.map(|&index| mesh.vertices()[index as usize]);
    problems.extend(Problem::around(kind, holes.len(), points));
}

fn report_facets(
    mesh: &Mesh,
    topology: &Topology,
    turned: &[bool],
    orientable: bool,
    diagonal: f64,
    problems: &mut Vec<Problem>,
) {
    let points = mesh.vertices();
    let triangles = mesh.triangles();
    let of_edges = |edges: &[[u32; 2]]| {
        edges.iter().flatten().map(|&i| points[i as usize]).collect::<Vec<_>>()
    };
    let of_facets = |facets: &[u32]| {
        let corners = facets.iter().flat_map(|&facet| mesh.corners(triangles[facet as usize]));
        corners.collect::<Vec<_>>()
    };
    let mut report = |kind, count, points: Vec<Point>| {
        problems.extend(Problem::around(kind, count, points.into_iter()));
    };
    if orientable {
        let facets: Vec<u32> = (0..turned.len()).filter(|&f| turned[f]).map(|f| f as u32).collect();
        report(ProblemKind::FlippedFacets, facets.len(), of_facets(&facets));
    } else {
        let edges = &topology.turned_edges;
        report(ProblemKind::NotOrientable, edges.len(), of_edges(edges));
    }
    let crowded = &topology.crowded_edges;
    report(ProblemKind::CrowdedEdges, crowded.len(), of_edges(crowded));

    // Heights below the rounding of single precision cannot be told from none.
    let none = diagonal * 1.0e-9;
    let thin: Vec<(u32, bool)> = triangles
        .par_iter()
        .enumerate()
        .filter(|&(facet, _)| topology.shell_of[facet] != NO_SHELL)
        .filter_map(|(facet, &triangle)| {
            let (longest, height) = longest_and_height(mesh.corners(triangle));
            (height < longest * 1.0e-3 || height <= none).then_some((facet as u32, height <= none))
        })
        .collect();
    let (flat, slivers): (Vec<_>, Vec<_>) = thin.into_iter().partition(|&(_, flat)| flat);
    let slivers: Vec<u32> = slivers.into_iter().map(|(facet, _)| facet).collect();
    let mut degenerate = topology.collapsed_facets.clone();
    degenerate.extend(flat.into_iter().map(|(facet, _)| facet));
    report(ProblemKind::DegenerateFacets, degenerate.len(), of_facets(&degenerate));
    report(ProblemKind::Slivers, slivers.len(), of_facets(&slivers));
}

/// The longest side of a triangle and the height above it.
fn longest_and_height([a, b, c]: [Point; 3]) -> (f64, f64) {
    let longest = vec3::distance(a, b).max(vec3::distance(b, c)).max(vec3::distance(c, a));
    let twice_area = vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)));
    (longest, if longest > 0.0 { twice_area / longest } else { 0.0 })
}

impl Measure {
    /// The gravest of the findings.
    #[must_use]
    pub fn gravest(&self) -> Option<&Problem> {
        self.problems.first()
    }

    /// Whether there is a finding of this kind.
    #[must_use]
    pub fn has(&self, kind: ProblemKind) -> bool {
        self.problems.iter().any(|problem| problem.kind == kind)
    }
}

impl Spot {
    /// The point, or the middle of the box.
    #[must_use]
    pub fn middle(&self) -> Point {
        match self {
            Self::At(point) => *point,
            Self::Within(bounds) => bounds.centre(),
        }
    }
}
