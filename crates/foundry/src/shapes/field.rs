//! Shapes as fields: negative inside, positive outside, about the distance to the surface.

use std::f64::consts::TAU;
use std::sync::Arc;

use crate::mesh::{Point, vec3};

/// A shape given by a function of the point, in millimetres.
#[derive(Clone)]
pub struct Field(Arc<dyn Fn(Point) -> f64 + Send + Sync>);

impl Field {
    /// A field from a function that is negative inside.
    #[must_use]
    pub fn new(at: impl Fn(Point) -> f64 + Send + Sync + 'static) -> Self {
        Self(Arc::new(at))
    }

    /// Its value at a point.
    #[must_use]
    pub fn at(&self, point: Point) -> f64 {
        (self.0)(point)
    }

    /// A ball.
    #[must_use]
    pub fn ball(centre: Point, radius: f64) -> Self {
        Self::new(move |p| vec3::distance(p, centre) - radius)
    }

    /// A rod with round ends whose thickness runs evenly from one end to the other.
    ///
    /// Source: I. Quilez, Distance functions, 2018 (round cone; from memory).
    #[must_use]
    pub fn taper(from: Point, to: Point, from_radius: f64, to_radius: f64) -> Self {
        let axis = vec3::sub(to, from);
        let square = vec3::dot(axis, axis).max(f64::MIN_POSITIVE);
        Self::new(move |p| {
            let along = (vec3::dot(vec3::sub(p, from), axis) / square).clamp(0.0, 1.0);
            let nearest = vec3::add(from, vec3::scale(axis, along));
            vec3::distance(p, nearest) - (from_radius + (to_radius - from_radius) * along)
        })
    }

    /// A rod with round ends.
    #[must_use]
    pub fn rod(from: Point, to: Point, radius: f64) -> Self {
        Self::taper(from, to, radius, radius)
    }

    /// A rod led smoothly through points, with the radius at each.
    #[must_use]
    pub fn led(through: &[(Point, f64)]) -> Self {
        const STEPS: u32 = 6;
        let knots: Vec<[f64; 4]> = through.iter().map(|&([x, y, z], r)| [x, y, z, r]).collect();
        let line = flowing(&knots, STEPS);
        Self::new(move |p| {
            let to_link = |pair: &[[f64; 4]]| {
                let [from, to] = [pair[0], pair[1]].map(|[x, y, z, _]| [x, y, z]);
                let axis = vec3::sub(to, from);
                let square = vec3::dot(axis, axis).max(f64::MIN_POSITIVE);
                let along = (vec3::dot(vec3::sub(p, from), axis) / square).clamp(0.0, 1.0);
                let nearest = vec3::add(from, vec3::scale(axis, along));
                vec3::distance(p, nearest) - (pair[0][3] + (pair[1][3] - pair[0][3]) * along)
            };
            line.windows(2).map(to_link).fold(f64::MAX, f64::min)
        })
    }

    /// A box with rounded edges about a centre, with half its length, breadth and height.
    #[must_use]
    pub fn block(centre: Point, half: Point, rounding: f64) -> Self {
        Self::new(move |p| {
            let q: Point = std::array::from_fn(|a| (p[a] - centre[a]).abs() - half[a] + rounding);
            let outside = vec3::length(q.map(|side| side.max(0.0)));
            outside + q[0].max(q[1]).max(q[2]).min(0.0) - rounding
        })
    }

    /// A disc or cylinder with rounded edges, about an axis of length one through its centre.
    #[must_use]
    pub fn disc(centre: Point, axis: Point, radius: f64, half_height: f64, rounding: f64) -> Self {
        Self::new(move |p| {
            let from = vec3::sub(p, centre);
            let height = vec3::dot(from, axis);
            let across = vec3::length(vec3::sub(from, vec3::scale(axis, height)));
            let q = [across - radius + rounding, height.abs() - half_height + rounding];
            let outside = q[0].max(0.0).hypot(q[1].max(0.0));
            outside + q[0].max(q[1]).min(0.0) - rounding
        })
    }

    /// A torus about an axis of length one.
    #[must_use]
    pub fn torus(centre: Point, axis: Point, ring_radius: f64, tube_radius: f64) -> Self {
        Self::new(move |p| {
            let from = vec3::sub(p, centre);
            let height = vec3::dot(from, axis);
            let across = vec3::length(vec3::sub(from, vec3::scale(axis, height)));
            (across - ring_radius).hypot(height) - tube_radius
        })
    }

    /// An ellipsoid; near its surface the field is close to the distance.
    #[must_use]
    pub fn ellipsoid(centre: Point, half: Point) -> Self {
        Self::new(move |p| {
            let from = vec3::sub(p, centre);
            let k = vec3::length(std::array::from_fn(|a| from[a] / half[a]));
            let slope = vec3::length(std::array::from_fn(|a| from[a] / (half[a] * half[a])));
            if slope > 0.0 { k * (k - 1.0) / slope } else { -half[0].min(half[1]).min(half[2]) }
        })
    }

    /// The same shape moved.
    #[must_use]
    pub fn moved(self, by: Point) -> Self {
        Self::new(move |p| self.at(vec3::sub(p, by)))
    }

    /// The part of the shape around the positive x axis, repeated evenly around the z axis.
    #[must_use]
    pub fn repeated_around_z(self, times: u32) -> Self {
        let sector = TAU / f64::from(times.max(1));
        Self::new(move |[x, y, z]| {
            let angle = y.atan2(x);
            let folded = angle - (angle / sector).round() * sector;
            let r = x.hypot(y);
            self.at([r * folded.cos(), r * folded.sin(), z])
        })
    }

    /// A cylinder without ends about an axis of length one, for holes.
    #[must_use]
    pub fn bore(centre: Point, axis: Point, radius: f64) -> Self {
        Self::new(move |p| {
            let from = vec3::sub(p, centre);
            vec3::length(vec3::sub(from, vec3::scale(axis, vec3::dot(from, axis)))) - radius
        })
    }

    /// A screw hole with a countersink of 90 degrees; the axis of length one points out of
    /// it. The edge between them is eased by 0.3 mm.
    #[must_use]
    pub fn screw_hole(mouth: Point, axis: Point, radius: f64, head_radius: f64) -> Self {
        let reach = 2.0 * head_radius;
        Self::new(move |p| {
            let from = vec3::sub(p, mouth);
            let height = vec3::dot(from, axis);
            let across = vec3::length(vec3::sub(from, vec3::scale(axis, height)));
            let sink = (across - head_radius - height) * std::f64::consts::FRAC_1_SQRT_2;
            smooth_minimum(sink, across - radius, 0.3).max(height - reach)
        })
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self::new(move |p| self.at(p).min(other.at(p)))
    }

    /// Both together with a fillet of about this size where they meet.
    ///
    /// Source: I. Quilez, Smooth minimum, 2013 (quadratic polynomial; from memory).
    #[must_use]
    pub fn blend(self, other: Self, fillet: f64) -> Self {
        Self::new(move |p| smooth_minimum(self.at(p), other.at(p), fillet))
    }

    /// What remains when another shape is taken away, the edge eased by about this size.
    #[must_use]
    pub fn less(self, other: Self, easing: f64) -> Self {
        Self::new(move |p| -smooth_minimum(-self.at(p), other.at(p), easing))
    }

    /// What both have in common, the edge eased by about this size.
    #[must_use]
    pub fn within(self, other: Self, easing: f64) -> Self {
        Self::new(move |p| -smooth_minimum(-self.at(p), -other.at(p), easing))
    }
}

fn smooth_minimum(a: f64, b: f64, reach: f64) -> f64 {
    if reach <= 0.0 {
        return a.min(b);
    }
    let near = (reach - (a - b).abs()).max(0.0) / reach;
    a.min(b) - near * near * reach / 4.0
}

/// A smooth line through points (Catmull-Rom), with this many steps between two of them.
pub(super) fn flowing<const N: usize>(points: &[[f64; N]], steps: u32) -> Vec<[f64; N]> {
    let Some(last) = points.len().checked_sub(1) else {
        return Vec::new();
    };
    let mut line = Vec::new();
    for at in 0..last {
        let [a, b, c, d] =
            [at.saturating_sub(1), at, at + 1, (at + 2).min(last)].map(|index| points[index]);
        for step in 0..steps {
            let t = f64::from(step) / f64::from(steps);
            line.push(std::array::from_fn(|k| {
                0.5 * (2.0 * b[k]
                    + (c[k] - a[k]) * t
                    + (2.0 * a[k] - 5.0 * b[k] + 4.0 * c[k] - d[k]) * t * t
                    + (3.0 * b[k] - a[k] - 3.0 * c[k] + d[k]) * t * t * t)
            }));
        }
    }
    line.push(points[last]);
    line
}
