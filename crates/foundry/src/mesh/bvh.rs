//! A tree of boxes over the facets of a mesh, for rays, nearest points and neighbours.

use super::{Bounds, Mesh, Point, vec3};

/// Most facets in a leaf.
const LEAF: usize = 4;
/// How many places are tried for each cut.
const BINS: usize = 12;

/// A binary tree of boxes; refers to the mesh it was made for.
pub struct Bvh<'m> {
    mesh: &'m Mesh,
    nodes: Vec<Node>,
    /// The facets, in the order of the leaves.
    order: Vec<u32>,
}

#[derive(Clone, Copy)]
pub(crate) struct Node {
    pub(crate) bounds: Bounds,
    /// The first facet of a leaf, or the first of the two children that follow each other.
    pub(crate) start: u32,
    /// How many facets a leaf has; zero for a node with children.
    pub(crate) count: u32,
}

/// Where a ray meets a facet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// How far along the ray, in lengths of its direction.
    pub along: f64,
    /// Which facet.
    pub facet: u32,
}

/// The point of a surface nearest to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// The point.
    pub point: Point,
    /// How far away it is.
    pub distance: f64,
    /// The facet it lies on.
    pub facet: u32,
}

impl<'m> Bvh<'m> {
    /// Builds the tree; cuts are chosen by the surface area heuristic in bins.
    ///
    /// # Source
    /// I. Wald, On fast construction of SAH-based bounding volume hierarchies,
    /// IEEE Symposium on Interactive Ray Tracing, 2007 (from memory).
    #[must_use]
    pub fn new(mesh: &'m Mesh) -> Self {
        Self::of(mesh, (0..mesh.triangles().len() as u32).collect())
    }

    /// A tree over some of the facets.
    pub(crate) fn of(mesh: &'m Mesh, order: Vec<u32>) -> Self {
        let facets = order.len();
        let mut tree = Self { mesh, nodes: Vec::with_capacity(facets), order };
        if facets == 0 {
            return tree;
        }
        let whole = tree.bounds_of(0, facets);
        tree.nodes.push(Node { bounds: whole, start: 0, count: facets as u32 });
        let mut waiting = vec![0_usize];
        while let Some(at) = waiting.pop() {
            let Node { start, count, .. } = tree.nodes[at];
            let (start, count) = (start as usize, count as usize);
            if count <= LEAF {
                continue;
            }
            let left = tree.cut(start, count);
            let child = tree.nodes.len();
            for (start, count) in [(start, left), (start + left, count - left)] {
                let bounds = tree.bounds_of(start, count);
                tree.nodes.push(Node { bounds, start: start as u32, count: count as u32 });
            }
            tree.nodes[at].start = child as u32;
            tree.nodes[at].count = 0;
            waiting.extend([child, child + 1]);
        }
        tree
    }

    /// The mesh it was made for.
    #[must_use]
    pub fn mesh(&self) -> &'m Mesh {
        self.mesh
    }

    pub(crate) fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    pub(crate) fn leaf_facets(&self, node: &Node) -> &[u32] {
        &self.order[node.start as usize..(node.start + node.count) as usize]
    }

    pub(crate) fn corners(&self, facet: u32) -> [Point; 3] {
        self.mesh.corners(self.mesh.triangles()[facet as usize])
    }

    fn facet_bounds(&self, facet: u32) -> Bounds {
        let mut bounds = Bounds::EMPTY;
        self.corners(facet).into_iter().for_each(|corner| bounds.include(corner));
        bounds
    }

    fn middle(&self, facet: u32) -> Point {
        self.facet_bounds(facet).centre()
    }

    fn bounds_of(&self, start: usize, count: usize) -> Bounds {
        let mut bounds = Bounds::EMPTY;
        for &facet in &self.order[start..start + count] {
            self.corners(facet).into_iter().for_each(|corner| bounds.include(corner));
        }
        bounds
    }

    /// Sorts a run of facets into two and gives the size of the first, never all or none.
    fn cut(&mut self, start: usize, count: usize) -> usize {
        let mut middles = Bounds::EMPTY;
        for at in start..start + count {
            middles.include(self.middle(self.order[at]));
        }
        let size = middles.size();
        let axis = (0..3).max_by(|&a, &b| size[a].total_cmp(&size[b])).unwrap_or(0);
        if size[axis] > 0.0 {
            let low = middles.least[axis];
            let scale = BINS as f64 / size[axis];
            let bin = |middle: Point| (((middle[axis] - low) * scale) as usize).min(BINS - 1);
            let mut bins = [(Bounds::EMPTY, 0_usize); BINS];
            for at in start..start + count {
                let facet = self.order[at];
                let bounds = self.facet_bounds(facet);
                let (around, held) = &mut bins[bin(bounds.centre())];
                around.include_box(&bounds);
                *held += 1;
            }
            if let Some(border) = best_border(&bins) {
                let mut left = start;
                for at in start..start + count {
                    if bin(self.middle(self.order[at])) < border {
                        self.order.swap(at, left);
                        left += 1;
                    }
                }
                return left - start;
            }
        }
        count / 2
    }

    /// Calls a function for the facets whose boxes touch a box, until it says to stop.
    pub(crate) fn touching(&self, bounds: &Bounds, mut go_on: impl FnMut(u32) -> bool) {
        let mut waiting = vec![0_usize];
        while let Some(at) = waiting.pop() {
            let Some(node) = self.nodes.get(at).filter(|node| node.bounds.touches(bounds)) else {
                continue;
            };
            if node.count == 0 {
                waiting.extend([node.start as usize, node.start as usize + 1]);
                continue;
            }
            for &facet in self.leaf_facets(node) {
                if self.facet_bounds(facet).touches(bounds) && !go_on(facet) {
                    return;
                }
            }
        }
    }

    /// The first facet a ray meets at a distance in the given range, whichever way it faces.
    ///
    /// Only facets for which `counts` holds are seen.
    #[must_use]
    pub fn first_hit(
        &self,
        origin: Point,
        direction: Point,
        range: std::ops::Range<f64>,
        counts: impl Fn(u32) -> bool,
    ) -> Option<Hit> {
        let inverse = direction.map(|d| 1.0 / d);
        let mut best: Option<Hit> = None;
        let mut reach = range.end;
        let mut waiting = vec![0_usize];
        while let Some(at) = waiting.pop() {
            let Some(node) = self.nodes.get(at) else {
                continue;
            };
            if entry(&node.bounds, origin, inverse, reach).is_none() {
                continue;
            }
            if node.count == 0 {
                let children = [node.start as usize, node.start as usize + 1];
                let [a, b] =
                    children.map(|child| entry(&self.nodes[child].bounds, origin, inverse, reach));
                // The nearer child is looked at first, so that it shortens the ray.
                match (a, b) {
                    (Some(a), Some(b)) if a <= b => waiting.extend([children[1], children[0]]),
                    (Some(_), Some(_)) => waiting.extend(children),
                    (Some(_), None) => waiting.push(children[0]),
                    (None, Some(_)) => waiting.push(children[1]),
                    (None, None) => {}
                }
                continue;
            }
            for &facet in self.leaf_facets(node) {
                let along = meet(origin, direction, self.corners(facet));
                if let Some(along) = along.filter(|&t| t >= range.start && t < reach)
                    && counts(facet)
                {
                    reach = along;
                    best = Some(Hit { along, facet });
                }
            }
        }
        best
    }

    /// The point of the surface nearest to a point, no farther than `reach`.
    ///
    /// Only facets for which `counts` holds are seen.
    #[must_use]
    pub fn nearest(
        &self,
        point: Point,
        reach: f64,
        counts: impl Fn(u32) -> bool,
    ) -> Option<Nearest> {
        self.nearest_among(point, reach, |_| true, counts)
    }

    /// As [`Bvh::nearest`], passing over whole nodes, by their number, that hold nothing that
    /// counts.
    pub(crate) fn nearest_among(
        &self,
        point: Point,
        reach: f64,
        worth: impl Fn(usize) -> bool,
        counts: impl Fn(u32) -> bool,
    ) -> Option<Nearest> {
        let mut best: Option<Nearest> = None;
        let mut square = reach * reach;
        // Nodes to look into, and the square of how far away each one is.
        let mut waiting = vec![(0_usize, 0.0)];
        while let Some((at, away)) = waiting.pop() {
            let Some(node) = self.nodes.get(at).filter(|_| away <= square && worth(at)) else {
                continue;
            };
            if node.count == 0 {
                let child = |at: usize| (at, square_to_box(point, &self.nodes[at].bounds));
                let (a, b) = (child(node.start as usize), child(node.start as usize + 1));
                // The nearer one is looked at first, so that it narrows the search.
                let (near, far) = if a.1 <= b.1 { (a, b) } else { (b, a) };
                waiting.extend([far, near].into_iter().filter(|(_, away)| *away <= square));
                continue;
            }
            for &facet in self.leaf_facets(node) {
                if !counts(facet) {
                    continue;
                }
                let on_facet = nearest_on_facet(point, self.corners(facet));
                let away = vec3::sub(on_facet, point);
                let candidate = vec3::dot(away, away);
                if candidate <= square {
                    square = candidate;
                    best = Some(Nearest { point: on_facet, distance: candidate.sqrt(), facet });
                }
            }
        }
        best
    }
}

/// The border between bins with the least expected work; `None` when all lie in one bin.
fn best_border(bins: &[(Bounds, usize); BINS]) -> Option<usize> {
    let mut behind = [0.0; BINS + 1];
    let (mut around, mut count) = (Bounds::EMPTY, 0);
    for border in (1..BINS).rev() {
        if bins[border].1 > 0 {
            around.include_box(&bins[border].0);
            count += bins[border].1;
        }
        behind[border] = half_area(&around, count) * count as f64;
    }
    let total = count + bins[0].1;
    let (mut around, mut count) = (Bounds::EMPTY, 0);
    let mut best = None;
    for border in 1..BINS {
        if bins[border - 1].1 > 0 {
            around.include_box(&bins[border - 1].0);
            count += bins[border - 1].1;
        }
        if count == 0 || count == total {
            continue;
        }
        let work = half_area(&around, count) * count as f64 + behind[border];
        if best.is_none_or(|(least, _)| work < least) {
            best = Some((work, border));
        }
    }
    best.map(|(_, border)| border)
}

fn half_area(bounds: &Bounds, count: usize) -> f64 {
    let [x, y, z] = bounds.size();
    if count == 0 { 0.0 } else { x * y + y * z + z * x }
}

/// How far along a ray it enters a box; `None` when it misses it or enters beyond reach.
fn entry(bounds: &Bounds, origin: Point, inverse: Point, reach: f64) -> Option<f64> {
    let (mut near, mut far) = (0.0_f64, reach);
    for axis in 0..3 {
        let a = (bounds.least[axis] - origin[axis]) * inverse[axis];
        let b = (bounds.greatest[axis] - origin[axis]) * inverse[axis];
        // A ray within the plane of a face gives zero times infinity; `max` and `min`
        // pass over that NaN.
        near = near.max(a.min(b));
        far = far.min(a.max(b));
    }
    // Rounding must not lose a facet on the very face of its box.
    (near <= far * (1.0 + 1.0e-12) + 1.0e-12).then_some(near)
}

/// How far along a ray it meets a triangle.
///
/// Source: T. Möller, B. Trumbore, Fast, minimum storage ray-triangle intersection,
/// J. Graphics Tools 2(1), 1997 (from memory).
fn meet(origin: Point, direction: Point, [a, b, c]: [Point; 3]) -> Option<f64> {
    let (u_edge, v_edge) = (vec3::sub(b, a), vec3::sub(c, a));
    let p = vec3::cross(direction, v_edge);
    let determinant = vec3::dot(u_edge, p);
    if determinant == 0.0 {
        return None;
    }
    let from_a = vec3::sub(origin, a);
    let u = vec3::dot(from_a, p) / determinant;
    let q = vec3::cross(from_a, u_edge);
    let v = vec3::dot(direction, q) / determinant;
    // A little beyond the edges, so that no ray slips through between neighbours.
    const SLACK: f64 = 1.0e-12;
    let inside = u >= -SLACK && v >= -SLACK && u + v <= 1.0 + SLACK;
    inside.then(|| vec3::dot(v_edge, q) / determinant).filter(|t| t.is_finite())
}

#[inline]
fn square_to_box(point: Point, bounds: &Bounds) -> f64 {
    let out = |axis: usize| {
        let out = (bounds.least[axis] - point[axis]).max(point[axis] - bounds.greatest[axis]);
        out.max(0.0)
    };
    let away = [out(0), out(1), out(2)];
    vec3::dot(away, away)
}

/// The point of a triangle nearest to a point.
///
/// Source: C. Ericson, Real-Time Collision Detection, 2005, section 5.1.5 (from memory).
pub(crate) fn nearest_on_facet(p: Point, [a, b, c]: [Point; 3]) -> Point {
    let (ab, ac, ap) = (vec3::sub(b, a), vec3::sub(c, a), vec3::sub(p, a));
    let (d1, d2) = (vec3::dot(ab, ap), vec3::dot(ac, ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let bp = vec3::sub(p, b);
    let (d3, d4) = (vec3::dot(ab, bp), vec3::dot(ac, bp));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let cp = vec3::sub(p, c);
    let (d5, d6) = (vec3::dot(ab, cp), vec3::dot(ac, cp));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let along = |from: Point, edge: Point, share: f64| vec3::add(from, vec3::scale(edge, share));
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return along(a, ab, d1 / (d1 - d3));
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return along(a, ac, d2 / (d2 - d6));
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        return along(b, vec3::sub(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6)));
    }
    let whole = va + vb + vc;
    if whole == 0.0 {
        return a;
    }
    along(along(a, ab, vb / whole), ac, vc / whole)
}
