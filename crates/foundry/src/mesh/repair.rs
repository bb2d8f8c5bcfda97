//! Repairs that cannot change what the piece is.

use std::collections::HashMap;

use super::nesting::inside_out_facets;
use super::polygon::{MOST_CORNERS, triangulate};
use super::topology::{
    EdgeTable, Hole, NO_SHELL, Topology, agreeing, is_collapsed, surplus_facets, turned_mesh,
};
use super::{Mesh, Point, vec3};
use crate::quantity::Millimetres;

/// How far a repair may go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RepairOptions {
    /// Points nearer than this may be made one; far below what a printer resolves.
    pub weld: Millimetres,
    /// Holes wider than this stay open: closing them would be designing.
    pub widest_hole: Millimetres,
    /// How far the rim of a hole may stray from a plane, as a share of its width.
    pub flatness: f64,
}

impl Default for RepairOptions {
    fn default() -> Self {
        Self { weld: Millimetres::of(0.002), widest_hole: Millimetres::of(5.0), flatness: 0.1 }
    }
}

/// A repaired copy of a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct Repaired {
    /// The copy.
    pub mesh: Mesh,
    /// What was changed, in the order in which it was; empty when there was nothing to do.
    pub changes: Vec<Change>,
}

/// Something that was changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// Points were made one.
    Welded {
        /// How many disappeared.
        points: usize,
        /// Those nearer than this.
        within_mm: f64,
    },
    /// Facets that had lost their area were taken out.
    DroppedCollapsed {
        /// How many.
        facets: usize,
    },
    /// Facets that lay on others were taken out.
    DroppedDoubled {
        /// How many.
        facets: usize,
    },
    /// Crumbs that enclosed nothing were taken out.
    DroppedFlat {
        /// How many.
        shells: usize,
    },
    /// Facets were turned to agree with their neighbours.
    Turned {
        /// How many.
        facets: usize,
    },
    /// Whole bodies were inside out and were turned.
    TurnedOutside {
        /// How many facets they have.
        facets: usize,
    },
    /// Holes were closed.
    Filled {
        /// How many.
        holes: usize,
        /// The widest of them.
        widest_mm: f64,
    },
}

impl std::fmt::Display for Change {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Welded { points, within_mm } => {
                write!(
                    f,
                    "{points} points nearer than {within_mm} mm to another were made one with it."
                )
            }
            Self::DroppedCollapsed { facets } => {
                write!(f, "{facets} facets without area were taken out.")
            }
            Self::DroppedDoubled { facets } => {
                write!(f, "{facets} facets that lay exactly on others were taken out.")
            }
            Self::DroppedFlat { shells } => {
                write!(f, "{shells} crumbs that enclose nothing were taken out.")
            }
            Self::Turned { facets } => {
                write!(
                    f,
                    "{facets} facets that faced inwards were turned to agree with their neighbours."
                )
            }
            Self::TurnedOutside { facets } => {
                write!(f, "Bodies that were inside out were turned ({facets} facets).")
            }
            Self::Filled { holes, widest_mm } => {
                write!(f, "{holes} nearly flat holes of up to {widest_mm:.2} mm were closed.")
            }
        }
    }
}

/// Repairs a copy of a mesh in millimetres as far as that is safe; the original stays as it is.
///
/// Nearby points are welded only when that closes edges. Facets are turned, doubled and
/// collapsed ones taken out, and small, nearly flat holes closed. What is left is found by
/// measuring the copy again.
#[must_use]
pub fn repair(mesh: &Mesh, options: &RepairOptions) -> Repaired {
    let mut changes = Vec::new();
    let mut current = mesh.welded();
    weld_if_it_closes(&mut current, options.weld.get(), &mut changes);
    drop_facets(&mut current, &mut changes);
    turn_to_agree(&mut current, &mut changes);
    fill_holes(&mut current, options, &mut changes);
    turn_outside(&mut current, &mut changes);
    Repaired { mesh: current.welded(), changes }
}

fn topology_of(mesh: &Mesh) -> Topology {
    Topology::new(mesh, &EdgeTable::new(mesh))
}

fn weld_if_it_closes(mesh: &mut Mesh, within_mm: f64, changes: &mut Vec<Change>) {
    let before = topology_of(mesh).open_edges.len();
    if before == 0 || within_mm <= 0.0 {
        return;
    }
    let welded = welded_within(mesh, within_mm);
    if topology_of(&welded).open_edges.len() < before {
        let points = mesh.vertices().len() - welded.vertices().len();
        changes.push(Change::Welded { points, within_mm });
        *mesh = welded;
    }
}

/// The mesh with every point moved to the first one met within a distance, if there is one.
fn welded_within(mesh: &Mesh, distance: f64) -> Mesh {
    let cell_of = |p: Point| p.map(|coordinate| (coordinate / distance).floor() as i64);
    let mut cells: HashMap<[i64; 3], Vec<u32>> = HashMap::new();
    let mut kept: Vec<Point> = Vec::new();
    let mut renamed = Vec::with_capacity(mesh.vertices().len());
    for &point in mesh.vertices() {
        let [x, y, z] = cell_of(point);
        let around = (-1..2).flat_map(|dx| (-1..2).map(move |dy| (dx, dy)));
        let near = around
            .flat_map(|(dx, dy)| (-1..2).map(move |dz| [x + dx, y + dy, z + dz]))
            .filter_map(|cell| cells.get(&cell))
            .flatten()
            .copied()
            .find(|&index| vec3::distance(kept[index as usize], point) <= distance);
        renamed.push(near.unwrap_or_else(|| {
            let index = kept.len() as u32;
            kept.push(point);
            cells.entry([x, y, z]).or_default().push(index);
            index
        }));
    }
    let triangles = mesh.triangles().iter().map(|t| t.map(|index| renamed[index as usize]));
    Mesh::trusted(kept, triangles.collect()).welded()
}

/// The mesh with only those facets for which `stays` holds.
fn with_facets(mesh: &Mesh, stays: impl Fn(usize) -> bool) -> Mesh {
    let kept = mesh.triangles().iter().enumerate().filter(|(facet, _)| stays(*facet));
    Mesh::trusted(mesh.vertices().to_vec(), kept.map(|(_, triangle)| *triangle).collect())
}

fn drop_facets(mesh: &mut Mesh, changes: &mut Vec<Change>) {
    let collapsed = mesh.triangles().iter().filter(|t| is_collapsed(**t)).count();
    if collapsed > 0 {
        *mesh = with_facets(mesh, |facet| !is_collapsed(mesh.triangles()[facet]));
        changes.push(Change::DroppedCollapsed { facets: collapsed });
    }
    let mut doubled = 0;
    // Taking some out can make others superfluous.
    loop {
        let surplus = surplus_facets(mesh, &EdgeTable::new(mesh));
        if surplus.is_empty() {
            break;
        }
        doubled += surplus.len();
        *mesh = with_facets(mesh, |facet| surplus.binary_search(&(facet as u32)).is_err());
    }
    if doubled > 0 {
        changes.push(Change::DroppedDoubled { facets: doubled });
    }
    drop_flat(mesh, changes);
}

/// Takes out closed shells of a few facets that enclose nothing.
fn drop_flat(mesh: &mut Mesh, changes: &mut Vec<Change>) {
    const FEW: usize = 8;
    let topology = topology_of(mesh);
    if topology.shells < 2 {
        return;
    }
    let mut sums = vec![(0_usize, 0.0, 0.0); topology.shells];
    for (facet, [a, b, c]) in mesh.facets().enumerate() {
        if topology.shell_of[facet] == NO_SHELL {
            continue;
        }
        let (facets, volume, area) = &mut sums[topology.shell_of[facet] as usize];
        let double_area = vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
        *facets += 1;
        *volume += vec3::dot(vec3::sub(a, mesh.vertices()[0]), double_area) / 6.0;
        *area += vec3::length(double_area) / 2.0;
    }
    let mut open = vec![false; topology.shells];
    for &(_, facet) in &topology.open_edges {
        open[topology.shell_of[facet as usize] as usize] = true;
    }
    let is_flat = |shell: usize| {
        let (facets, volume, area) = sums[shell];
        facets <= FEW && !open[shell] && f64::abs(volume) <= 1.0e-9 * f64::powf(area, 1.5)
    };
    let flat = (0..topology.shells).filter(|&shell| is_flat(shell)).count();
    if flat > 0 && flat < topology.shells {
        *mesh = with_facets(mesh, |facet| !is_flat(topology.shell_of[facet] as usize));
        changes.push(Change::DroppedFlat { shells: flat });
    }
}

fn turn_to_agree(mesh: &mut Mesh, changes: &mut Vec<Change>) {
    let table = EdgeTable::new(mesh);
    if Topology::new(mesh, &table).turned_edges.is_empty() {
        return;
    }
    if let Some(turned) = agreeing(mesh, &table) {
        let facets = turned.iter().filter(|turn| **turn).count();
        *mesh = turned_mesh(mesh, |facet| turned[facet]);
        changes.push(Change::Turned { facets });
    }
}

/// Turns closed bodies that face inwards and are no hollows.
fn turn_outside(mesh: &mut Mesh, changes: &mut Vec<Change>) {
    let table = EdgeTable::new(mesh);
    let topology = Topology::new(mesh, &table);
    if !topology.is_closed() || !topology.turned_edges.is_empty() {
        return;
    }
    let inside_out = inside_out_facets(mesh, &topology);
    let facets = inside_out.iter().filter(|turn| **turn).count();
    if facets > 0 {
        *mesh = turned_mesh(mesh, |facet| inside_out[facet]);
        changes.push(Change::TurnedOutside { facets });
    }
}

fn fill_holes(mesh: &mut Mesh, options: &RepairOptions, changes: &mut Vec<Change>) {
    let topology = topology_of(mesh);
    let mut triangles = mesh.triangles().to_vec();
    let (mut filled, mut widest) = (0, 0.0_f64);
    for hole in topology.holes(mesh) {
        let width = hole.bounds.diagonal();
        if width > options.widest_hole.get() || !is_simple(&hole) {
            continue;
        }
        let rim: Vec<Point> =
            hole.rim.iter().map(|&index| mesh.vertices()[index as usize]).collect();
        if stray(&rim) > options.flatness * width {
            continue;
        }
        triangulate(&rim, |corners| triangles.push(corners.map(|corner| hole.rim[corner])));
        filled += 1;
        widest = widest.max(width);
    }
    if filled > 0 {
        *mesh = Mesh::trusted(mesh.vertices().to_vec(), triangles);
        changes.push(Change::Filled { holes: filled, widest_mm: widest });
    }
}

/// Whether a rim passes each point once and is short enough to be cut into triangles.
fn is_simple(hole: &Hole) -> bool {
    let mut points = hole.rim.clone();
    points.sort_unstable();
    points.dedup();
    hole.complete && points.len() == hole.rim.len() && (3..=MOST_CORNERS).contains(&points.len())
}

/// How far a rim strays from its mean plane.
fn stray(rim: &[Point]) -> f64 {
    let middle = rim.iter().fold([0.0; 3], |sum, &p| vec3::add(sum, p));
    let middle = vec3::scale(middle, 1.0 / rim.len() as f64);
    let normal = rim.iter().enumerate().fold([0.0; 3], |sum, (at, &p)| {
        let next = rim[(at + 1) % rim.len()];
        vec3::add(sum, vec3::cross(vec3::sub(p, middle), vec3::sub(next, middle)))
    });
    let normal = vec3::unit(normal);
    rim.iter().map(|&p| vec3::dot(vec3::sub(p, middle), normal).abs()).fold(0.0, f64::max)
}
