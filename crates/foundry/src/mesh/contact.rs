//! Which facets meet that are no neighbours.

use rayon::prelude::*;

use super::bvh::Bvh;
use super::fragment::triangles_meet;
use super::topology::NO_SHELL;
use super::{Bounds, Mesh, Point, vec3};

/// Pairs of facets that touch or cut each other, each in both orders.
pub(crate) struct Contacts {
    /// For each facet where its partners begin.
    offsets: Vec<u32>,
    partners: Vec<u32>,
}

/// Which facets are asked about.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Among {
    /// Facets of different shells.
    Shells,
    /// Also facets of the same shell that share no point.
    All,
}

/// More pairs than this are not followed.
const MOST_PAIRS: usize = 30_000_000;

/// Distances below this share of the diagonal count as none.
pub(crate) const TOUCH_SHARE: f64 = 1.0e-9;

impl Contacts {
    /// Finds all pairs; `None` when there are too many.
    ///
    /// Facets that merely touch are a pair, unless they lie side by side in one plane.
    pub(crate) fn find(tree: &Bvh<'_>, shell_of: &[u32], among: Among, touch: f64) -> Option<Self> {
        let mesh = tree.mesh();
        let reach = reach_of_others(mesh, shell_of, among);
        let found: Vec<Vec<u32>> = (0..mesh.triangles().len() as u32)
            .into_par_iter()
            .map(|facet| {
                let mut partners = Vec::new();
                let shell = shell_of[facet as usize];
                if shell == NO_SHELL {
                    return partners;
                }
                let corners = tree.corners(facet);
                let mut around = Bounds::EMPTY;
                corners.into_iter().for_each(|corner| around.include(corner));
                let around = around.grown(touch);
                let near = &reach[shell as usize];
                // With many others the tree answers faster than their list.
                if near.len() < 32 && !near.iter().any(|bounds| bounds.touches(&around)) {
                    return partners;
                }
                let triangle = mesh.triangles()[facet as usize];
                tree.touching(&around, |other| {
                    let other_shell = shell_of[other as usize];
                    let asked = other_shell != NO_SHELL
                        && (other_shell != shell
                            || among == Among::All
                                && !mesh.triangles()[other as usize]
                                    .iter()
                                    .any(|index| triangle.contains(index)));
                    if asked && meet(corners, tree.corners(other), touch) {
                        partners.push(other);
                    }
                    true
                });
                partners
            })
            .collect();
        let total: usize = found.iter().map(Vec::len).sum();
        if total > MOST_PAIRS {
            return None;
        }
        let mut offsets = Vec::with_capacity(found.len() + 1);
        offsets.push(0);
        let mut partners = Vec::with_capacity(total);
        for mut some in found {
            partners.append(&mut some);
            offsets.push(partners.len() as u32);
        }
        Some(Self { offsets, partners })
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.partners.is_empty()
    }

    /// The facets that meet this one.
    pub(crate) fn of(&self, facet: usize) -> &[u32] {
        &self.partners[self.offsets[facet] as usize..self.offsets[facet + 1] as usize]
    }
}

/// For each shell the boxes that its facets must reach to be in a pair.
fn reach_of_others(mesh: &Mesh, shell_of: &[u32], among: Among) -> Vec<Vec<Bounds>> {
    let shells = shell_of.iter().filter(|&&s| s != NO_SHELL).max().map_or(0, |&s| s as usize + 1);
    let mut bounds = vec![Bounds::EMPTY; shells];
    for (facet, corners) in mesh.facets().enumerate() {
        if let Some(bounds) = bounds.get_mut(shell_of[facet] as usize) {
            corners.into_iter().for_each(|corner| bounds.include(corner));
        }
    }
    (0..shells)
        .map(|shell| {
            let others = bounds.iter().enumerate().filter(|(other, _)| *other != shell);
            match among {
                Among::All => vec![bounds[shell]],
                Among::Shells => others
                    .map(|(_, other)| *other)
                    .filter(|other| other.touches(&bounds[shell]))
                    .collect(),
            }
        })
        .collect()
}

/// Whether two triangles meet; the planes are asked first, being quick.
fn meet(a: [Point; 3], b: [Point; 3], touch: f64) -> bool {
    reaches_plane(a, b, touch) && reaches_plane(b, a, touch) && triangles_meet(a, b, touch)
}

fn reaches_plane(plane: [Point; 3], other: [Point; 3], touch: f64) -> bool {
    let normal = unit_normal(plane);
    let heights = other.map(|corner| vec3::dot(vec3::sub(corner, plane[0]), normal));
    !(heights.iter().all(|&height| height > touch) || heights.iter().all(|&height| height < -touch))
}

/// The direction a triangle faces; zero when it has no area.
pub(crate) fn unit_normal([a, b, c]: [Point; 3]) -> Point {
    vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)))
}
