//! What bodies that cut through each other enclose together.

use super::bvh::Bvh;
use super::contact::{Among, Contacts, TOUCH_SHARE};
use super::fragment::cut_along;
use super::sum::Sum;
use super::topology::{EdgeTable, NO_SHELL, Topology, agreeing, turned_mesh};
use super::winding::WindingTree;
use super::{Mesh, Point, vec3};
use crate::quantity::{CubicMillimetres, QuantityRefusal, SquareMillimetres};

/// The space that is inside at least one body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Union {
    /// Its volume.
    pub volume: CubicMillimetres,
    /// How far off the volume may be.
    pub error: CubicMillimetres,
    /// The area of its surface, without what lies inside.
    pub area: SquareMillimetres,
    /// Its centre of mass, in millimetres; `None` when it is empty.
    pub centre_of_mass: Option<Point>,
    /// How many facets were cut by others or touched them.
    pub facets_in_contact: usize,
}

/// Why there is no union.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum UnionRefusal {
    /// The surface encloses nothing.
    #[error("The surface is open or has no inside, so it encloses no volume. Repair it first.")]
    Open,
    /// Facets cut each other in tens of millions of places.
    #[error(
        "The bodies cut through each other in too many places. Unite them in the drawing program."
    )]
    TooTangled,
    /// The volume is beyond what is measured.
    #[error("The model is too large to be measured. Check the unit.")]
    TooLarge,
}

impl From<QuantityRefusal> for UnionRefusal {
    fn from(_: QuantityRefusal) -> Self {
        Self::TooLarge
    }
}

/// The union of all bodies of a mesh in millimetres, also where a body cuts through itself.
///
/// Solid is what the surface winds around at least once; hollows that face inwards stay
/// hollow. Facets are cut where others pass through them, and each piece counts as far as
/// it lies on the border of the solid.
///
/// # Source
/// The border by winding numbers: A. Jacobson, L. Kavan, O. Sorkine-Hornung, Robust
/// inside-outside segmentation using generalized winding numbers, ACM Trans. Graphics
/// 32(4), 2013 (from memory). Volume as in [`measure()`](super::measure()).
///
/// # Accuracy
/// Exact but for rounding: the border's facets are those of the bodies. The error stated
/// covers pieces whose place is in doubt and whatever keeps the border from closing.
/// Neighbouring facets folded onto each other are not looked for.
///
/// # Refuses
/// See [`UnionRefusal`].
pub fn union(mesh: &Mesh) -> Result<Union, UnionRefusal> {
    let table = EdgeTable::new(mesh);
    let topology = Topology::new(mesh, &table);
    if !topology.is_closed() {
        return Err(UnionRefusal::Open);
    }
    let turned = agreeing(mesh, &table).ok_or(UnionRefusal::Open)?;
    let mesh = &turned_mesh(mesh, |facet| turned[facet]);
    let tree = Bvh::new(mesh);
    let touch = touch_of(mesh);
    let contacts = Contacts::find(&tree, &topology.shell_of, Among::All, touch)
        .ok_or(UnionRefusal::TooTangled)?;
    Ok(united(tree, &table, &topology.shell_of, &contacts, touch)?)
}

/// The distance below which facets touch.
pub(crate) fn touch_of(mesh: &Mesh) -> f64 {
    mesh.bounds().map_or(0.0, |bounds| bounds.diagonal() * TOUCH_SHARE)
}

/// The union, once it is known which facets meet.
pub(crate) fn united(
    tree: Bvh<'_>,
    table: &EdgeTable,
    shell_of: &[u32],
    contacts: &Contacts,
    touch: f64,
) -> Result<Union, QuantityRefusal> {
    let mesh = tree.mesh();
    let bounds = mesh.bounds();
    let origin = bounds.map_or([0.0; 3], |bounds| bounds.centre());
    let diagonal = bounds.map_or(0.0, |bounds| bounds.diagonal());
    let winding = WindingTree::over(tree);
    let mut border = Border::new(&winding, origin, diagonal);

    let mut facets_in_contact = 0;
    let mut free = vec![false; mesh.triangles().len()];
    for (facet, corners) in mesh.facets().enumerate() {
        if shell_of[facet] == NO_SHELL {
            continue;
        }
        let partners = contacts.of(facet);
        if partners.is_empty() {
            free[facet] = true;
            continue;
        }
        facets_in_contact += 1;
        let partners = partners.iter().map(|&partner| winding.tree().corners(partner));
        for piece in cut_along(corners, partners, touch) {
            border.add_piece(&piece);
        }
    }
    for patch in patches(mesh, table, &free) {
        border.add_patch(mesh, &patch);
    }
    border.finish(facets_in_contact)
}

/// Facets that meet no others, gathered with their neighbours: each patch lies on the
/// border as a whole or not at all.
fn patches(mesh: &Mesh, table: &EdgeTable, free: &[bool]) -> Vec<Vec<u32>> {
    let mut patch_of = super::topology::Groups::new(mesh.triangles().len());
    for edge in table.edges() {
        let mut sides = edge.sides.iter().map(|side| side.1 / 3).filter(|&f| free[f as usize]);
        if let Some(first) = sides.next() {
            sides.for_each(|other| patch_of.join(first, other));
        }
    }
    let mut patches: Vec<Vec<u32>> = Vec::new();
    let mut number = vec![u32::MAX; mesh.triangles().len()];
    for facet in (0..mesh.triangles().len()).filter(|&facet| free[facet]) {
        let lead = patch_of.lead(facet as u32) as usize;
        if number[lead] == u32::MAX {
            number[lead] = patches.len() as u32;
            patches.push(Vec::new());
        }
        patches[number[lead] as usize].push(facet as u32);
    }
    patches
}

/// Sums over the border of the solid.
struct Border<'t, 'm> {
    winding: &'t WindingTree<'m>,
    origin: Point,
    diagonal: f64,
    six_volumes: Sum,
    moment: [Sum; 3],
    area: Sum,
    /// The area along each axis: zero for a closed border.
    openness: [Sum; 3],
    doubt: f64,
}

impl<'t, 'm> Border<'t, 'm> {
    fn new(winding: &'t WindingTree<'m>, origin: Point, diagonal: f64) -> Self {
        Self {
            winding,
            origin,
            diagonal,
            six_volumes: Sum::default(),
            moment: [Sum::default(); 3],
            area: Sum::default(),
            openness: [Sum::default(); 3],
            doubt: 0.0,
        }
    }

    /// Adds a flat piece as far as it is border.
    fn add_piece(&mut self, piece: &[Point]) {
        let fan = || (1..piece.len() - 1).map(|at| [piece[0], piece[at], piece[at + 1]]);
        let double_area = fan().fold([0.0; 3], |sum, [a, b, c]| {
            vec3::add(sum, vec3::cross(vec3::sub(b, a), vec3::sub(c, a)))
        });
        let size = vec3::length(double_area);
        if size <= (self.diagonal * TOUCH_SHARE).powi(2) {
            return;
        }
        let normal = vec3::scale(double_area, 1.0 / size);
        let middle = piece.iter().fold([0.0; 3], |sum, &p| vec3::add(sum, p));
        let middle = vec3::scale(middle, 1.0 / piece.len() as f64);
        let (share, sure) = self.share_at(middle, normal, size.sqrt());
        for corners in fan() {
            self.add(corners, share, sure);
        }
    }

    /// Adds facets of which all or none are border.
    fn add_patch(&mut self, mesh: &Mesh, patch: &[u32]) {
        let corners = |facet: u32| mesh.corners(mesh.triangles()[facet as usize]);
        let double_area = |[a, b, c]: [Point; 3]| vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
        let size = |facet: u32| vec3::length(double_area(corners(facet)));
        let largest = patch.iter().copied().max_by(|&a, &b| size(a).total_cmp(&size(b)));
        let Some(largest) = largest else { return };
        let [a, b, c] = corners(largest);
        let normal = vec3::unit(double_area([a, b, c]));
        let middle = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
        let (share, sure) = self.share_at(middle, normal, size(largest).sqrt());
        for &facet in patch {
            self.add(corners(facet), share, sure);
        }
    }

    /// How far a place on the surface is border, and whether that is sure.
    ///
    /// Where several sheets lie on each other they share the border among them.
    fn share_at(&self, middle: Point, normal: Point, size: f64) -> (f64, bool) {
        let step = (size * 1.0e-3).clamp(self.diagonal * 1.0e-8, self.diagonal * 1.0e-5);
        let beside = |by: f64| self.winding.at(vec3::add(middle, vec3::scale(normal, by)));
        let (outside, inside) = (beside(step), beside(-step));
        let sure = [outside, inside].iter().all(|w| (w - w.round()).abs() < 0.2);
        let (outside, inside) = (outside.round(), inside.round());
        let solid = |winding: f64| if winding >= 1.0 { 1.0 } else { 0.0 };
        let step_up = inside - outside;
        let share = if step_up == 0.0 { 0.0 } else { (solid(inside) - solid(outside)) / step_up };
        (share, sure)
    }

    fn add(&mut self, corners: [Point; 3], share: f64, sure: bool) {
        let [a, b, c] = corners.map(|corner| vec3::sub(corner, self.origin));
        let six_volumes = vec3::dot(a, vec3::cross(b, c));
        let double_area = vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
        self.six_volumes.add(share * six_volumes);
        self.area.add(share.abs() * vec3::length(double_area));
        for axis in 0..3 {
            self.moment[axis].add(share * six_volumes * (a[axis] + b[axis] + c[axis]));
            self.openness[axis].add(share * double_area[axis]);
        }
        if !sure {
            self.doubt += six_volumes.abs() / 6.0;
        }
    }

    fn finish(self, facets_in_contact: usize) -> Result<Union, QuantityRefusal> {
        let volume = (self.six_volumes.get() / 6.0).max(0.0);
        let openness = vec3::length(self.openness.map(|sum| sum.get() / 2.0));
        let rounding = volume * 1.0e-12;
        let error = self.doubt + openness * self.diagonal / 3.0 + rounding;
        let centre_of_mass = (volume > 0.0).then(|| {
            let offset = self.moment.map(|sum| sum.get() / 24.0 / volume);
            vec3::add(self.origin, offset)
        });
        Ok(Union {
            volume: CubicMillimetres::new(volume)?,
            error: CubicMillimetres::new(error)?,
            area: SquareMillimetres::new(self.area.get() / 2.0)?,
            centre_of_mass,
            facets_in_contact,
        })
    }
}
