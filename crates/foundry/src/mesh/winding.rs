//! How often a surface winds around a point.

use super::bvh::Bvh;
use super::{Mesh, Point, vec3};

/// The solid angle of a triangle seen from a point, divided by that of the whole sphere.
///
/// Positive when the triangle's back is towards the point, so that a closed surface that
/// faces outwards sums to one inside and to zero outside.
///
/// Source: A. van Oosterom, J. Strackee, The solid angle of a plane triangle,
/// IEEE Trans. Biomedical Engineering 30(2), 1983 (from memory).
fn share_of_view(from: Point, corners: [Point; 3]) -> f64 {
    let [a, b, c] = corners.map(|corner| vec3::sub(corner, from));
    let (la, lb, lc) = (vec3::length(a), vec3::length(b), vec3::length(c));
    let triple = vec3::dot(a, vec3::cross(b, c));
    let scale = la * lb * lc + vec3::dot(a, b) * lc + vec3::dot(b, c) * la + vec3::dot(c, a) * lb;
    triple.atan2(scale) / std::f64::consts::TAU
}

/// A surface prepared for asking how often it winds around points.
///
/// Facets near the point count exactly; groups of facets farther away than [`FAR`] times
/// their reach count as one facet in their middle.
///
/// Source: G. Barill, N. Dickson, R. Schmidt, D. Levin, A. Jacobson, Fast winding numbers
/// for soups and clouds, ACM Trans. Graphics 37(4), 2018 (from memory), first order.
pub(crate) struct WindingTree<'m> {
    tree: Bvh<'m>,
    groups: Vec<Group>,
}

/// How many times its reach a group must be away to count as one; the error of the sum is
/// then below a hundredth (measured on the sample pieces), far from the half that decides.
const FAR: f64 = 3.0;

#[derive(Clone, Copy, Default)]
struct Group {
    middle: Point,
    reach: f64,
    /// Half the sum of the edge products: the area along each axis.
    area: Point,
    /// The sum of the areas, whichever way they face.
    weight: f64,
}

impl<'m> WindingTree<'m> {
    /// Only some of a mesh's facets.
    pub(crate) fn of(mesh: &'m Mesh, facets: &[u32]) -> Self {
        Self::over(Bvh::of(mesh, facets.to_vec()))
    }

    pub(crate) fn over(tree: Bvh<'m>) -> Self {
        let nodes = tree.nodes();
        let mut groups = vec![Group::default(); nodes.len()];
        // Children stand behind their parents.
        for at in (0..nodes.len()).rev() {
            let node = &nodes[at];
            let mut group = Group::default();
            let mut include = |middle: Point, area: Point, weight: f64| {
                group.middle = vec3::add(group.middle, vec3::scale(middle, weight));
                group.area = vec3::add(group.area, area);
                group.weight += weight;
            };
            if node.count == 0 {
                for child in &groups[node.start as usize..node.start as usize + 2] {
                    include(child.middle, child.area, child.weight);
                }
            } else {
                for &facet in tree.leaf_facets(node) {
                    let [a, b, c] = tree.corners(facet);
                    let normal = vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
                    let middle = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
                    include(middle, vec3::scale(normal, 0.5), vec3::length(normal) / 2.0);
                }
            }
            group.middle = if group.weight > 0.0 {
                vec3::scale(group.middle, 1.0 / group.weight)
            } else {
                node.bounds.centre()
            };
            let farthest = std::array::from_fn(|axis| {
                (group.middle[axis] - node.bounds.least[axis])
                    .max(node.bounds.greatest[axis] - group.middle[axis])
            });
            group.reach = vec3::length(farthest);
            groups[at] = group;
        }
        Self { tree, groups }
    }

    pub(crate) fn tree(&self) -> &Bvh<'m> {
        &self.tree
    }

    /// How often the surface winds around a point: a whole number, nearly, where it is closed.
    pub(crate) fn at(&self, point: Point) -> f64 {
        let nodes = self.tree.nodes();
        let mut sum = 0.0;
        let mut waiting = Vec::with_capacity(64);
        if !nodes.is_empty() {
            waiting.push(0_usize);
        }
        while let Some(at) = waiting.pop() {
            let (node, group) = (&nodes[at], &self.groups[at]);
            let away = vec3::sub(group.middle, point);
            let square = vec3::dot(away, away);
            if square > (FAR * group.reach).powi(2) {
                sum += vec3::dot(group.area, away)
                    / (square * square.sqrt() * 2.0 * std::f64::consts::TAU);
            } else if node.count == 0 {
                waiting.extend([node.start as usize, node.start as usize + 1]);
            } else {
                for &facet in self.tree.leaf_facets(node) {
                    sum += share_of_view(point, self.tree.corners(facet));
                }
            }
        }
        sum
    }
}
