//! The bore of a ring.

use super::bvh::Bvh;
use super::contact::unit_normal;
use super::{Mesh, Point, vec3};
use crate::quantity::Millimetres;

/// A round hole through a piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bore {
    /// A point on its axis, in the middle of its length.
    pub centre: Point,
    /// The direction of its axis, of length one.
    pub axis: Point,
    /// The diameter at its narrowest: what a finger or a gauge has to pass.
    pub diameter: Millimetres,
    /// How far it strays from round: the greatest less the least diameter of the narrowest
    /// line around.
    pub out_of_round: Millimetres,
    /// How long the wall is that makes the bore.
    pub length: Millimetres,
    /// How much of the way around there is wall, from 0 to 1; less than 1 when it is slit.
    pub coverage: f64,
}

impl Bore {
    /// Wall for this share of the way around makes a closed bore; a little is left for facets.
    pub const CLOSED: f64 = 0.97;

    /// Whether there is wall all around. What is open may be a ring that is cut, or a hook.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.coverage >= Self::CLOSED
    }
}

/// Most places on the surface that are used.
const PLACES: usize = 6000;
/// How many pairs of places are tried.
const PAIRS: usize = 600;
/// A bore must have wall for this share of the way around.
const LEAST_COVERAGE: f64 = 0.6;
/// Walls may lean this much (sine) from the axis, as in bores rounded for comfort.
const LEAN: f64 = 0.35;
/// Parts into which the way around is divided.
const SECTORS: usize = 72;

/// Finds the widest round hole through a piece, such as the bore of a ring; `None` when there
/// is none.
///
/// # Units
/// The mesh in millimetres.
///
/// # Source
/// A pair of places with their normals gives a cylinder: R. Schnabel, R. Wahl, R. Klein,
/// Efficient RANSAC for point-cloud shape detection, Computer Graphics Forum 26(2), 2007
/// (from memory). The cylinder is then fitted to the corners of its wall by weighted least
/// squares.
///
/// # Assumes
/// Facets face outwards; nothing crosses the bore.
///
/// # Accuracy
/// On generated bands the diameter is met to 0.01 mm. With few facets around, the flats lie
/// inside the circle of the corners; the diameter is that of the corners.
#[must_use]
pub fn bore(mesh: &Mesh) -> Option<Bore> {
    let places = Place::spread_over(mesh);
    let size = mesh.bounds()?.diagonal();
    let mut candidates: Vec<(f64, Axis)> = Vec::new();
    let mut random = Random(0x5eed);
    for _ in 0..PAIRS {
        let (a, b) =
            (places.get(random.below(places.len()))?, places.get(random.below(places.len()))?);
        let Some((axis, radius)) = Axis::through(a, b, size) else { continue };
        let wall = axis.wall(&places, radius, radius * 0.08);
        if coverage(&axis, &wall) >= LEAST_COVERAGE {
            candidates.push((radius, axis));
        }
    }
    // The widest first; the same bore is met many times and need not be looked at each time.
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut tried: Vec<f64> = Vec::new();
    let tree = Bvh::new(mesh);
    for (radius, axis) in candidates {
        if tried.iter().filter(|&&r| (r / radius - 1.0).abs() < 0.02).count() >= 8 {
            continue;
        }
        tried.push(radius);
        if let Some(bore) = fitted(&tree, &places, axis, radius) {
            return Some(bore);
        }
    }
    None
}

/// A facet's middle, its normal and area.
struct Place {
    point: Point,
    normal: Point,
    area: f64,
    corners: [Point; 3],
}

impl Place {
    fn spread_over(mesh: &Mesh) -> Vec<Self> {
        let step = mesh.triangles().len().div_ceil(PLACES).max(1);
        let place = |corners: [Point; 3]| {
            let [a, b, c] = corners;
            let area = vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))) / 2.0;
            let point = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
            Self { point, normal: unit_normal(corners), area, corners }
        };
        mesh.facets().step_by(step).map(place).filter(|place| place.area > 0.0).collect()
    }
}

/// A line in space with two directions across it.
#[derive(Clone, Copy)]
struct Axis {
    on: Point,
    along: Point,
    across: [Point; 2],
}

impl Axis {
    fn new(on: Point, along: Point) -> Self {
        let helper = if along[0].abs() < 0.6 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
        let u = vec3::unit(vec3::cross(along, helper));
        Self { on, along, across: [u, vec3::cross(along, u)] }
    }

    /// The axis of the hollow cylinder on which two places lie, with its radius.
    fn through(a: &Place, b: &Place, size: f64) -> Option<(Self, f64)> {
        let along = vec3::cross(a.normal, b.normal);
        // Nearly parallel normals say little about the axis.
        if vec3::length(along) < 0.25 {
            return None;
        }
        let axis = Self::new(a.point, vec3::unit(along));
        // Seen along the axis, the lines along both normals meet in the middle.
        let flat = |v: Point| axis.across.map(|across| vec3::dot(v, across));
        let (na, nb) = (flat(a.normal), flat(b.normal));
        let [dx, dy] = flat(vec3::sub(b.point, a.point));
        let cross = na[0] * nb[1] - na[1] * nb[0];
        let radius = (dx * nb[1] - dy * nb[0]) / cross;
        let other = (dx * na[1] - dy * na[0]) / cross;
        let agree = radius > 0.0 && other > 0.0 && (radius / other - 1.0).abs() < 0.1;
        let plausible = agree && radius < size;
        let on = vec3::add(a.point, vec3::scale(a.normal, radius));
        plausible.then_some((Self { on, ..axis }, radius))
    }

    /// Distance along, distance from and angle around the axis.
    fn locate(&self, point: Point) -> (f64, f64, f64) {
        let from = vec3::sub(point, self.on);
        let [x, y] = self.across.map(|across| vec3::dot(from, across));
        (vec3::dot(from, self.along), x.hypot(y), y.atan2(x))
    }

    /// Whether a place faces the axis.
    fn is_faced_by(&self, place: &Place) -> bool {
        let from = vec3::sub(place.point, self.on);
        let along = vec3::dot(from, self.along);
        let outward = vec3::unit(vec3::sub(from, vec3::scale(self.along, along)));
        vec3::dot(place.normal, self.along).abs() < LEAN && vec3::dot(place.normal, outward) < -0.85
    }

    /// The places that face the axis at about this distance.
    fn wall<'p>(&self, places: &'p [Place], radius: f64, within: f64) -> Vec<&'p Place> {
        let near = |place: &&Place| {
            let (_, distance, _) = self.locate(place.point);
            (distance - radius).abs() < within && self.is_faced_by(place)
        };
        places.iter().filter(near).collect()
    }
}

fn sector(angle: f64) -> usize {
    let share = angle / std::f64::consts::TAU + 0.5;
    ((share * SECTORS as f64) as usize).min(SECTORS - 1)
}

/// The share of the way around in which there is wall. Each facet counts as far as it reaches.
fn coverage(axis: &Axis, wall: &[&Place]) -> f64 {
    let mut seen = [false; SECTORS];
    for place in wall {
        let (_, _, middle) = axis.locate(place.point);
        for corner in place.corners {
            let (_, _, angle) = axis.locate(corner);
            let turn = (angle - middle + 3.0 * std::f64::consts::PI)
                .rem_euclid(std::f64::consts::TAU)
                - std::f64::consts::PI;
            let steps = (turn.abs() / std::f64::consts::TAU * SECTORS as f64).ceil() as usize;
            for step in 0..=steps.min(SECTORS) {
                let part = step as f64 / steps.max(1) as f64;
                let angle = (middle + turn * part + 3.0 * std::f64::consts::PI)
                    .rem_euclid(std::f64::consts::TAU)
                    - std::f64::consts::PI;
                seen[sector(angle)] = true;
            }
        }
    }
    seen.iter().filter(|seen| **seen).count() as f64 / SECTORS as f64
}

/// Betters an axis by its wall and measures the bore; `None` when it turns out to be none.
fn fitted(tree: &Bvh<'_>, places: &[Place], mut axis: Axis, mut radius: f64) -> Option<Bore> {
    axis = Axis::new(axis.on, least_seen(&axis.wall(places, radius, radius * 0.08))?);
    for within in [0.08, 0.06, 0.04, 0.04, 0.04, 0.04, 0.04, 0.04] {
        let wall = axis.wall(places, radius, radius * within);
        if wall.len() < 3 {
            return None;
        }
        (axis, radius) = bettered(&axis, radius, &wall)?;
    }
    let wall = axis.wall(places, radius, radius * 0.04);
    let coverage = coverage(&axis, &wall);
    if coverage < LEAST_COVERAGE {
        return None;
    }
    let reach = |pick: fn(f64, f64) -> f64, start: f64| {
        let corners = wall.iter().flat_map(|place| place.corners);
        corners.map(|corner| axis.locate(corner).0).fold(start, pick)
    };
    let (low, high) = (reach(f64::min, f64::INFINITY), reach(f64::max, f64::NEG_INFINITY));
    let centre = vec3::add(axis.on, vec3::scale(axis.along, (low + high) / 2.0));
    axis.on = centre;
    let far = tree.mesh().bounds()?.diagonal() * 2.0;
    let open = [1.0, -1.0].iter().all(|&way| {
        tree.first_hit(centre, vec3::scale(axis.along, way), 0.0..far, |_| true).is_none()
    });
    if !open {
        return None;
    }
    let half = (high - low) / 2.0;
    let narrowest = narrowest_around(tree.mesh(), &axis, radius, half);
    let known = || narrowest.iter().copied().filter(|r| r.is_finite());
    let least = known().fold(f64::INFINITY, f64::min);
    let greatest = known().fold(0.0, f64::max);
    Some(Bore {
        centre,
        axis: axis.along,
        diameter: Millimetres::new(2.0 * least).ok()?,
        out_of_round: Millimetres::new(2.0 * (greatest - least)).ok()?,
        length: Millimetres::new(2.0 * half).ok()?,
        coverage,
    })
}

/// In each sector the least distance of the mesh's points from the axis, along the wall.
fn narrowest_around(mesh: &Mesh, axis: &Axis, radius: f64, half: f64) -> [f64; SECTORS] {
    let mut narrowest = [f64::INFINITY; SECTORS];
    for &index in mesh.triangles().iter().flatten() {
        let (along, distance, angle) = axis.locate(mesh.vertices()[index as usize]);
        if along.abs() <= half && distance < radius * 1.1 {
            let least = &mut narrowest[sector(angle)];
            *least = least.min(distance);
        }
    }
    narrowest
}

/// The direction to which the normals of a wall are most nearly square: the eigenvector of
/// their scatter with the smallest eigenvalue, by Jacobi's rotations.
fn least_seen(wall: &[&Place]) -> Option<Point> {
    if wall.len() < 3 {
        return None;
    }
    let mut scatter = [[0.0; 3]; 3];
    for place in wall {
        for (row, a) in scatter.iter_mut().zip(place.normal) {
            for (entry, b) in row.iter_mut().zip(place.normal) {
                *entry += place.area * a * b;
            }
        }
    }
    let mut vectors = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for _ in 0..30 {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if scatter[p][q].abs() < 1.0e-300 {
                continue;
            }
            let theta = (scatter[q][q] - scatter[p][p]) / (2.0 * scatter[p][q]);
            let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
            let cos = 1.0 / t.hypot(1.0);
            let sin = t * cos;
            for row in &mut scatter {
                (row[p], row[q]) = (cos * row[p] - sin * row[q], sin * row[p] + cos * row[q]);
            }
            let (upper, lower) = (scatter[p], scatter[q]);
            scatter[p] = std::array::from_fn(|k| cos * upper[k] - sin * lower[k]);
            scatter[q] = std::array::from_fn(|k| sin * upper[k] + cos * lower[k]);
            for row in &mut vectors {
                (row[p], row[q]) = (cos * row[p] - sin * row[q], sin * row[p] + cos * row[q]);
            }
        }
    }
    let smallest = (0..3).min_by(|&a, &b| scatter[a][a].total_cmp(&scatter[b][b]))?;
    let direction = vec3::unit(vectors.map(|row| row[smallest]));
    (vec3::length(direction) > 0.5).then_some(direction)
}

/// Moves, tilts and widens a cylinder so that it comes nearer to the corners of its wall, by
/// a step of Gauss and Newton in which corners far off count little.
fn bettered(axis: &Axis, radius: f64, wall: &[&Place]) -> Option<(Axis, f64)> {
    let corners = || wall.iter().flat_map(|place| place.corners.map(|c| (c, place.area)));
    let mut off: Vec<f64> = corners().map(|(c, _)| (axis.locate(c).1 - radius).abs()).collect();
    let middle = off.len() / 2;
    let (_, usual, _) = off.select_nth_unstable_by(middle, f64::total_cmp);
    let scale = (3.0 * *usual).max(radius * 1.0e-9);
    let mut normal = [[0.0; 6]; 5];
    for (corner, area) in corners() {
        let (along, distance, angle) = axis.locate(corner);
        let residual = distance - radius;
        let weight = area / (1.0 + (residual / scale).powi(2)).powi(2);
        let (sin, cos) = angle.sin_cos();
        let row = [cos, sin, along * cos, along * sin, 1.0, residual];
        for (i, equation) in normal.iter_mut().enumerate() {
            for (j, entry) in equation.iter_mut().enumerate() {
                *entry += weight * row[i] * row[j];
            }
        }
    }
    let [x, y, tilt_x, tilt_y, wider] = solved(normal)?;
    let shifted = |to: Point, u: f64, v: f64| {
        let [across_u, across_v] = axis.across;
        vec3::add(to, vec3::add(vec3::scale(across_u, u), vec3::scale(across_v, v)))
    };
    let along = vec3::unit(shifted(axis.along, tilt_x, tilt_y));
    let radius = radius + wider;
    (radius > 0.0).then(|| (Axis::new(shifted(axis.on, x, y), along), radius))
}

/// Solves linear equations, the right-hand side as last column, with pivoting; `None` when
/// they are not independent.
fn solved<const N: usize, const M: usize>(mut m: [[f64; M]; N]) -> Option<[f64; N]> {
    let size = m.iter().flatten().fold(0.0, |size: f64, entry| size.max(entry.abs()));
    for column in 0..N {
        let pivot =
            (column..N).max_by(|&a, &b| m[a][column].abs().total_cmp(&m[b][column].abs()))?;
        m.swap(column, pivot);
        if m[column][column].abs() <= size * 1.0e-14 {
            return None;
        }
        for row in (0..N).filter(|&row| row != column) {
            let factor = m[row][column] / m[column][column];
            m[row] = std::array::from_fn(|k| m[row][k] - factor * m[column][k]);
        }
    }
    Some(std::array::from_fn(|row| m[row][N] / m[row][row]))
}

/// Numbers that only look random: the same mesh gives the same bore.
struct Random(u64);

impl Random {
    /// A number below a bound; zero when the bound is zero.
    fn below(&mut self, bound: usize) -> usize {
        // Knuth's multiplier for a modulus of 2^64; the high bits are the good ones.
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        ((self.0 >> 33) as usize) % bound.max(1)
    }
}
