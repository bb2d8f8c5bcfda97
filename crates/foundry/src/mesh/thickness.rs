//! How thick the walls of a piece are, and how narrow its gaps.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::bvh::Bvh;
use super::contact::unit_normal;
use super::places::{Place, places_on};
use super::problem::Spot;
use super::{Bounds, Mesh, Point, measure_mesh, vec3};
use crate::quantity::{Millimetres, SquareMillimetres};

/// What is asked about walls or gaps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThicknessOptions {
    /// Sections thinner than this are counted as thin.
    pub limit: Millimetres,
    /// About how many places on the surface are looked at: at least one on each facet, unless
    /// there are more than twice as many facets.
    pub places: usize,
}

impl Default for ThicknessOptions {
    fn default() -> Self {
        Self { limit: Millimetres::of(0.8), places: 40_000 }
    }
}

/// The thickness of walls, or the width of gaps, over a surface.
///
/// A field holds for each point of the mesh the least value found on the facets around it,
/// in millimetres, infinite where there is nothing opposite or no place was looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Thickness {
    /// Straight through to the other side.
    pub by_ray: Vec<f32>,
    /// The diameter of the largest ball that touches the surface there and fits in between.
    pub by_ball: Vec<f32>,
    /// The smallest ball and where it touches; `None` when nothing lies opposite anything.
    pub thinnest: Option<(Millimetres, Point)>,
    /// The diameter below which one hundredth of the surface lies, by ball.
    pub first_percentile: Option<Millimetres>,
    /// The area where the ball is smaller than the limit.
    pub area_below: SquareMillimetres,
    /// That area as a share of all.
    pub share_below: f64,
    /// Where it is, connected places together, the largest first; at most twenty.
    pub thin_places: Vec<ThinPlace>,
}

/// A connected part of the surface where the limit is not met.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinPlace {
    /// Where.
    pub spot: Spot,
    /// Its area.
    pub area: SquareMillimetres,
    /// The thinnest there.
    pub thinnest: Millimetres,
    /// The middle of the facet on which it is thinnest.
    pub thinnest_at: [f64; 3],
}

/// Why thicknesses were not looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ThicknessRefusal {
    /// Without an inside there are no walls.
    #[error(
        "The surface is open or has no inside, so it has no walls to measure. Repair it first."
    )]
    Open,
    /// Some facets face the wrong way.
    #[error(
        "Some facets face inwards, so walls and gaps cannot be told apart. Repair the model first."
    )]
    Turned,
    /// It was asked to stop.
    #[error("It was stopped before all walls were felt.")]
    Stopped,
}

/// Called now and then, from several threads, with the share of the places felt; `Break` stops.
pub type FeltSoFar<'a> = dyn Fn(f64) -> ControlFlow<()> + Sync + 'a;

/// Places felt between two calls of the watch.
const PLACES_A_CALL: usize = 256;

/// How thick the walls are.
///
/// # Units
/// The mesh in millimetres.
///
/// # Source
/// The touching ball is found by shrinking: J. Ma, S. W. Bae, S. Choi, 3D medial axis
/// point approximation using nearest neighbors and the normal field, The Visual Computer
/// 28, 2012 (from memory).
///
/// # Assumes
/// A wall is where surfaces face away from each other within 60 degrees; so the edge of a
/// block is not taken for a thin place, and the edge of a blade is.
///
/// # Accuracy
/// The ball is at most one part in 2500 too wide at the places looked at, which lie no farther apart than the facets or the number
/// of places asked for. Where bodies cut through each other their inner surfaces count, and
/// the result is too thin there: unite them first.
///
/// # Refuses
/// Surfaces that are open or face inwards, see [`ThicknessRefusal`].
pub fn thickness(mesh: &Mesh, options: &ThicknessOptions) -> Result<Thickness, ThicknessRefusal> {
    look(mesh, options, -1.0, &|_| ControlFlow::Continue(()))
}

/// As [`thickness`], watched.
///
/// # Refuses
/// See [`ThicknessRefusal`]; a stop asked for as well.
pub fn thickness_watched(
    mesh: &Mesh,
    options: &ThicknessOptions,
    watch: &FeltSoFar<'_>,
) -> Result<Thickness, ThicknessRefusal> {
    look(mesh, options, -1.0, watch)
}

/// How narrow the gaps are between parts of the surface that face each other; otherwise
/// as [`thickness`].
///
/// Narrow gaps hold resin that is hard to wash out, and thin fins of investment that break.
///
/// # Refuses
/// See [`ThicknessRefusal`].
pub fn gaps(mesh: &Mesh, options: &ThicknessOptions) -> Result<Thickness, ThicknessRefusal> {
    look(mesh, options, 1.0, &|_| ControlFlow::Continue(()))
}

/// As [`gaps`], watched.
///
/// # Refuses
/// See [`ThicknessRefusal`]; a stop asked for as well.
pub fn gaps_watched(
    mesh: &Mesh,
    options: &ThicknessOptions,
    watch: &FeltSoFar<'_>,
) -> Result<Thickness, ThicknessRefusal> {
    look(mesh, options, 1.0, watch)
}

/// The side is 1 for outside and -1 for inside.
fn look(
    mesh: &Mesh,
    options: &ThicknessOptions,
    side: f64,
    watch: &FeltSoFar<'_>,
) -> Result<Thickness, ThicknessRefusal> {
    use super::ProblemKind::{FlippedFacets, InsideOut};
    let measure = measure_mesh(mesh).map_err(|_| ThicknessRefusal::Open)?;
    if measure.volume.is_none() {
        return Err(ThicknessRefusal::Open);
    }
    if measure.has(FlippedFacets) || measure.has(InsideOut) {
        return Err(ThicknessRefusal::Turned);
    }
    let area = measure.area.get();
    let probe = Probe::new(mesh, side, measure.bounds.diagonal());
    let places = places_on(mesh, &probe.normals, options.places, area);
    let felt = AtomicUsize::new(0);
    let seen: Option<Vec<Seen>> = places
        .par_iter()
        .map(|place| {
            let so_far = felt.fetch_add(1, Ordering::Relaxed);
            let told = so_far % PLACES_A_CALL == 0;
            let stop = told && watch(so_far as f64 / places.len() as f64).is_break();
            (!stop).then(|| probe.at(place))
        })
        .collect();
    let seen = seen.ok_or(ThicknessRefusal::Stopped)?;
    Ok(gathered(mesh, &places, &seen, options.limit.get(), area))
}

struct Probe<'m> {
    tree: Bvh<'m>,
    normals: Vec<Point>,
    /// For each node of the tree the directions in which its facets face.
    cones: Vec<Cone>,
    side: f64,
    reach: f64,
}

/// All directions within an angle of an axis.
#[derive(Clone, Copy)]
struct Cone {
    axis: Point,
    half_angle: f64,
    /// At a direction with no more than this cosine to the axis it may hold an opposite one.
    opposite_below: f64,
}

impl Cone {
    fn new(axis: Point, half_angle: f64) -> Self {
        // Asked for at every node from every place: there a cosine is to be compared, not found.
        let opposite_below = (OPPOSITE - half_angle).max(0.0).cos();
        Self { axis, half_angle, opposite_below }
    }

    /// The cone around directions; the axis is their mean.
    fn around(directions: &[Self]) -> Self {
        let mean = directions.iter().fold([0.0; 3], |sum, cone| vec3::add(sum, cone.axis));
        let axis = vec3::unit(mean);
        let reach = |cone: &Self| angle_between(axis, cone.axis) + cone.half_angle;
        let half_angle = directions.iter().map(reach).fold(0.0, f64::max);
        Self::new(axis, half_angle)
    }

    /// Whether it may hold a direction that counts as opposite to this one.
    fn may_be_opposite(&self, direction: Point) -> bool {
        vec3::dot(self.axis, direction) <= self.opposite_below + 1.0e-12
    }
}

fn angle_between(a: Point, b: Point) -> f64 {
    vec3::dot(a, b).clamp(-1.0, 1.0).acos()
}

/// Surfaces count as opposite when their normals are this far apart: 120 degrees.
const OPPOSITE: f64 = 2.0 * std::f64::consts::FRAC_PI_3;

/// A ball is small enough when no surface reaches farther into it than this part of its radius.
/// In the middle of a round rod all facets are equally far away, but for the flatness of each:
/// to tell them apart would mean to look at every one of them from every place.
const SETTLED: f64 = 2.0e-4;

impl<'m> Probe<'m> {
    fn new(mesh: &'m Mesh, side: f64, reach: f64) -> Self {
        let tree = Bvh::new(mesh);
        let normals: Vec<Point> = mesh.facets().map(unit_normal).collect();
        let nodes = tree.nodes();
        let mut cones = vec![Cone::new([0.0; 3], 0.0); nodes.len()];
        // Children stand behind their parents.
        for at in (0..nodes.len()).rev() {
            let node = &nodes[at];
            cones[at] = if node.count == 0 {
                Cone::around(&[cones[node.start as usize], cones[node.start as usize + 1]])
            } else {
                let facing = tree.leaf_facets(node).iter();
                let facing = facing.map(|&f| Cone::new(normals[f as usize], 0.0));
                Cone::around(&facing.collect::<Vec<_>>())
            };
        }
        Self { tree, normals, cones, side, reach }
    }

    fn at(&self, place: &Place) -> Seen {
        let into = vec3::scale(place.normal, self.side);
        let facing = |facet: u32| vec3::dot(self.normals[facet as usize], place.normal);
        let start = self.reach * 1.0e-9;
        let hit = self.tree.first_hit(place.point, into, start..self.reach, |facet| {
            facet != place.facet && facing(facet) < 0.0
        });
        // A side wall near a corner says nothing about the ball, only what lies opposite.
        let opposite = hit.filter(|hit| facing(hit.facet) < OPPOSITE.cos());
        let first = opposite.map_or(self.reach / 2.0, |hit| hit.along / 2.0);
        let (radius, touched) = self.ball(place, into, first);
        let touched = touched.or(opposite.map(|hit| hit.facet));
        Seen {
            ray: hit.map_or(f64::INFINITY, |hit| hit.along),
            ball: if touched.is_some() { 2.0 * radius } else { f64::INFINITY },
            touched,
        }
    }

    /// The radius of the largest ball, no larger than the first, that touches at a place, lies
    /// on the side asked about and holds no part of an opposite surface; and the facet it
    /// touches there.
    fn ball(&self, place: &Place, into: Point, first: f64) -> (f64, Option<u32>) {
        let limit = OPPOSITE.cos();
        let worth = |node: usize| self.cones[node].may_be_opposite(place.normal);
        let opposite = |facet: u32| vec3::dot(self.normals[facet as usize], place.normal) < limit;
        let mut radius = first;
        let mut touched = None;
        for _ in 0..40 {
            let centre = vec3::add(place.point, vec3::scale(into, radius));
            let reach = radius * (1.0 - SETTLED);
            let Some(nearest) = self.tree.nearest_among(centre, reach, worth, opposite) else {
                break;
            };
            // The ball through the point found that still touches where it did.
            let to = vec3::sub(nearest.point, place.point);
            let depth = vec3::dot(to, into);
            if depth <= 0.0 {
                break;
            }
            let smaller = vec3::dot(to, to) / (2.0 * depth);
            touched = Some(nearest.facet);
            if smaller >= radius * (1.0 - SETTLED) {
                break;
            }
            radius = smaller;
        }
        (radius, touched)
    }
}

/// What was found at a place.
struct Seen {
    /// The distance straight across.
    ray: f64,
    /// The diameter of the touching ball.
    ball: f64,
    /// The facet opposite that it touches.
    touched: Option<u32>,
}

fn gathered(mesh: &Mesh, places: &[Place], seen: &[Seen], limit: f64, area: f64) -> Thickness {
    let mut by_ray = vec![f32::INFINITY; mesh.vertices().len()];
    let mut by_ball = by_ray.clone();
    let mut facet_ball = vec![f64::INFINITY; mesh.triangles().len()];
    let mut facet_below = vec![0.0; mesh.triangles().len()];
    let mut across = Vec::new();
    let mut thinnest: Option<(f64, Point)> = None;
    for (place, found) in places.iter().zip(seen) {
        let &Seen { ray, ball, .. } = found;
        let facet = place.facet as usize;
        for &index in &mesh.triangles()[facet] {
            let index = index as usize;
            by_ray[index] = by_ray[index].min(ray as f32);
            by_ball[index] = by_ball[index].min(ball as f32);
        }
        facet_ball[facet] = f64::min(facet_ball[facet], ball);
        if ball < limit {
            facet_below[facet] += place.area;
            across.extend(found.touched.map(|touched| (place.facet, touched)));
        }
        if ball.is_finite() && thinnest.is_none_or(|(least, _)| ball < least) {
            thinnest = Some((ball, place.point));
        }
    }
    let below: f64 = facet_below.iter().sum();
    let millimetres = |value: f64| Millimetres::new(value).unwrap_or_default();
    Thickness {
        by_ray,
        by_ball,
        thinnest: thinnest.map(|(value, point)| (millimetres(value), point)),
        first_percentile: percentile(places, seen, area * 0.01).map(millimetres),
        area_below: SquareMillimetres::new(below).unwrap_or_default(),
        share_below: if area > 0.0 { below / area } else { 0.0 },
        thin_places: thin_places(mesh, &facet_ball, &facet_below, &across),
    }
}

/// The diameter below which this much of the area lies.
fn percentile(places: &[Place], seen: &[Seen], area: f64) -> Option<f64> {
    let mut by_size: Vec<(f64, f64)> =
        places.iter().zip(seen).map(|(place, found)| (found.ball, place.area)).collect();
    by_size.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut sum = 0.0;
    by_size
        .into_iter()
        .find(|(_, part)| {
            sum += part;
            sum >= area
        })
        .map(|(ball, _)| ball)
        .filter(|ball| ball.is_finite())
}

/// Facets with thin parts, gathered over shared points and with those across the wall.
fn thin_places(
    mesh: &Mesh,
    facet_ball: &[f64],
    facet_below: &[f64],
    across: &[(u32, u32)],
) -> Vec<ThinPlace> {
    const MOST: usize = 20;
    let mut groups = super::topology::Groups::new(mesh.vertices().len());
    let thin =
        || mesh.triangles().iter().enumerate().filter(|(facet, _)| facet_below[*facet] > 0.0);
    for (_, &[a, b, c]) in thin() {
        groups.join(a, b);
        groups.join(b, c);
    }
    for &(facet, touched) in across.iter().filter(|(_, t)| facet_below[*t as usize] > 0.0) {
        let [from, ..] = mesh.triangles()[facet as usize];
        let [to, ..] = mesh.triangles()[touched as usize];
        groups.join(from, to);
    }
    struct Found {
        area: f64,
        /// The facet with the smallest ball, and that ball.
        thinnest: (usize, f64),
        bounds: Bounds,
    }
    let mut found: std::collections::BTreeMap<u32, Found> = std::collections::BTreeMap::new();
    for (facet, &triangle) in thin() {
        let place = found.entry(groups.lead(triangle[0])).or_insert(Found {
            area: 0.0,
            thinnest: (facet, f64::INFINITY),
            bounds: Bounds::EMPTY,
        });
        place.area += facet_below[facet];
        if facet_ball[facet] < place.thinnest.1 {
            place.thinnest = (facet, facet_ball[facet]);
        }
        mesh.corners(triangle).into_iter().for_each(|corner| place.bounds.include(corner));
    }
    let mut places: Vec<ThinPlace> = found
        .into_values()
        .map(|Found { area, thinnest: (facet, ball), bounds }| {
            let [a, b, c] = mesh.corners(mesh.triangles()[facet]);
            ThinPlace {
                spot: Spot::Within(bounds),
                area: SquareMillimetres::new(area).unwrap_or_default(),
                thinnest: Millimetres::new(ball).unwrap_or_default(),
                thinnest_at: std::array::from_fn(|axis| (a[axis] + b[axis] + c[axis]) / 3.0),
            }
        })
        .collect();
    places.sort_by(|a, b| b.area.get().total_cmp(&a.area.get()));
    places.truncate(MOST);
    places
}
