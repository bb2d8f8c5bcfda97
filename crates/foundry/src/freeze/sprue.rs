//! Sprues: where they sit on the model and what metal they add.

use rayon::prelude::*;

use super::refusal::{FreezeRefusal, within};
use super::shape::{Part, Rod, add, cross, dot, scale, sub};

/// A round sprue, as drawn: a place on the surface, a diameter and a length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sprue {
    /// Place on the model's surface, mm.
    pub at_mm: [f64; 3],
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Length from the surface to the trunk or button, mm.
    pub length_mm: f64,
    /// Direction away from the model; straight out of the surface when not given.
    pub direction: Option<[f64; 3]>,
}

/// Diameters in which sprue wax is usually kept, mm (common practice, no source).
pub const SPRUE_STEPS_MM: [f64; 12] =
    [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0];

/// Diameter of the button (or of the trunk there) in diameters of its sprue, at least.
const BUTTON_TO_SPRUE: f64 = 2.0;
/// The same in moduli of the piece: a cylinder as high as wide has D/6, so
/// this is 1.2 times the piece's (J. Campbell, Castings; from memory).
const BUTTON_TO_MODULUS: f64 = 7.2;

/// A place on the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfacePoint {
    /// The place, mm.
    pub at_mm: [f64; 3],
    /// Out of the metal, of length one.
    pub outward: [f64; 3],
    /// How far the point asked for was away, mm.
    pub distance_mm: f64,
}

/// A model's surface, for finding places on it.
#[derive(Debug, Clone, Copy)]
pub struct Surface<'a> {
    vertices: &'a [[f64; 3]],
    triangles: &'a [[u32; 3]],
    /// −1 when the triangles look inward.
    facing: f64,
}

impl<'a> Surface<'a> {
    /// A surface from a checked mesh.
    ///
    /// # Refuses
    /// No triangles, or triangles that name missing vertices.
    pub fn new(vertices: &'a [[f64; 3]], triangles: &'a [[u32; 3]]) -> Result<Self, FreezeRefusal> {
        super::shape::Shape { vertices_mm: vertices, triangles, rods: &[] }.bounds_mm()?;
        let volume: f64 = triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|v| vertices[v as usize]);
                dot(a, cross(b, c))
            })
            .sum();
        Ok(Self { vertices, triangles, facing: if volume < 0.0 { -1.0 } else { 1.0 } })
    }

    fn corners(&self, triangle: usize) -> [[f64; 3]; 3] {
        self.triangles[triangle].map(|v| self.vertices[v as usize])
    }

    /// Twice the area along the outward normal.
    fn outward(&self, triangle: usize) -> [f64; 3] {
        let [a, b, c] = self.corners(triangle);
        scale(cross(sub(b, a), sub(c, a)), self.facing)
    }

    /// The place on the surface nearest to a point. Outward is averaged over
    /// the surface within `radius_mm` that faces the same way.
    #[must_use]
    pub fn nearest(&self, point_mm: [f64; 3], radius_mm: f64) -> SurfacePoint {
        let (square, triangle, at) = (0..self.triangles.len())
            .into_par_iter()
            .map(|t| {
                let at = nearest_in_triangle(point_mm, self.corners(t));
                let off = sub(at, point_mm);
                (dot(off, off), t, at)
            })
            .reduce(
                || (f64::INFINITY, usize::MAX, point_mm),
                |a, b| if (b.0, b.1) < (a.0, a.1) { b } else { a },
            );
        let first = self.outward(triangle.min(self.triangles.len() - 1));
        let mut sum = first;
        for t in 0..self.triangles.len() {
            let [a, b, c] = self.corners(t);
            let middle = scale(add(add(a, b), c), 1.0 / 3.0);
            let off = sub(middle, at);
            let own = self.outward(t);
            if dot(off, off) <= radius_mm * radius_mm && dot(own, first) > 0.0 {
                sum = add(sum, own);
            }
        }
        let length = dot(sum, sum).sqrt();
        let outward = if length > 0.0 { scale(sum, 1.0 / length) } else { [0.0, 0.0, 1.0] };
        SurfacePoint { at_mm: at, outward, distance_mm: square.sqrt() }
    }

    /// Depth of metal below a place, straight inward, mm.
    #[must_use]
    pub fn depth_mm(&self, place: &SurfacePoint) -> f64 {
        self.reach_mm(place.at_mm, scale(place.outward, -1.0))
    }

    /// Distance from a point to the surface in a direction of length one, mm;
    /// infinite when it is free.
    pub(super) fn reach_mm(&self, from_mm: [f64; 3], way: [f64; 3]) -> f64 {
        (0..self.triangles.len())
            .into_par_iter()
            .filter_map(|t| along_ray(from_mm, way, self.corners(t)))
            .filter(|&d| d > 1e-3)
            .reduce(|| f64::INFINITY, f64::min)
    }

    /// Places where a sprue can come to a hot spot, the nearest first: straight
    /// ways out of the metal, with room for the sprue and its button.
    pub(super) fn ways_out(&self, hot_mm: [f64; 3], room_mm: f64) -> Vec<SurfacePoint> {
        let mut found: Vec<(f64, SurfacePoint)> = Vec::new();
        for step in (0..27).filter(|&s| s != 13) {
            let way = [step % 3, step / 3 % 3, step / 9].map(|k| f64::from(k) - 1.0);
            let way = scale(way, 1.0 / dot(way, way).sqrt());
            let distance = self.reach_mm(hot_mm, way);
            if !distance.is_finite() {
                continue;
            }
            let place = self.nearest(add(hot_mm, scale(way, distance)), 0.5);
            let free = self.reach_mm(place.at_mm, place.outward) > room_mm;
            if free && dot(place.outward, way) > 0.8 {
                found.push((distance, place));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.into_iter().map(|(_, place)| place).collect()
    }

    /// The rods of a sprue and its button.
    ///
    /// The sprue reaches into the piece by half its diameter or half the
    /// metal's depth, so that it also meets a curved surface all round.
    ///
    /// # Refuses
    /// A place off the surface by more than half the diameter and 0.2 mm.
    pub fn attach(
        &self,
        number: usize,
        sprue: &Sprue,
        modulus_mm: f64,
    ) -> Result<[Rod; 2], FreezeRefusal> {
        let diameter = within("a sprue's diameter", "mm", sprue.diameter_mm, 0.1, 100.0)?;
        let length = within("a sprue's length", "mm", sprue.length_mm, 0.5, 500.0)?;
        for at in sprue.at_mm {
            within("a sprue's place", "mm", at, -1e6, 1e6)?;
        }
        let place = self.nearest(sprue.at_mm, 0.5 * diameter);
        if place.distance_mm > 0.5 * diameter + 0.2 {
            let distance_mm = place.distance_mm;
            return Err(FreezeRefusal::SprueOffSurface { number, distance_mm });
        }
        let along = match sprue.direction {
            Some(d) => {
                let size = within("a direction's length", "", dot(d, d).sqrt(), 1e-6, 1e6)?;
                scale(d, 1.0 / size)
            }
            None => place.outward,
        };
        let inside = 0.5 * diameter.min(self.depth_mm(&place));
        let end = add(place.at_mm, scale(along, length));
        let button = (BUTTON_TO_SPRUE * diameter).max(BUTTON_TO_MODULUS * modulus_mm);
        Ok([
            Rod {
                from_mm: sub(place.at_mm, scale(along, inside)),
                along,
                length_mm: length + inside,
                diameter_mm: diameter,
                part: Part::Sprue,
            },
            Rod { from_mm: end, along, length_mm: button, diameter_mm: button, part: Part::Button },
        ])
    }
}

/// Nearest point of a triangle (C. Ericson, Real-Time Collision Detection,
/// 2005, section 5.1.5; from memory).
fn nearest_in_triangle(p: [f64; 3], [a, b, c]: [[f64; 3]; 3]) -> [f64; 3] {
    let (ab, ac, ap) = (sub(b, a), sub(c, a), sub(p, a));
    let (d1, d2) = (dot(ab, ap), dot(ac, ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let bp = sub(p, b);
    let (d3, d4) = (dot(ab, bp), dot(ac, bp));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return add(a, scale(ab, d1 / (d1 - d3)));
    }
    let cp = sub(p, c);
    let (d5, d6) = (dot(ab, cp), dot(ac, cp));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return add(a, scale(ac, d2 / (d2 - d6)));
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        return add(b, scale(sub(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6))));
    }
    let sum = va + vb + vc;
    add(a, add(scale(ab, vb / sum), scale(ac, vc / sum)))
}

/// Distance along a ray to a triangle.
fn along_ray(from: [f64; 3], way: [f64; 3], [a, b, c]: [[f64; 3]; 3]) -> Option<f64> {
    let (ab, ac) = (sub(b, a), sub(c, a));
    let p = cross(way, ac);
    let det = dot(ab, p);
    if det.abs() < 1e-14 {
        return None;
    }
    let t = sub(from, a);
    let u = dot(t, p) / det;
    let q = cross(t, ab);
    let v = dot(way, q) / det;
    (u >= 0.0 && v >= 0.0 && u + v <= 1.0).then(|| dot(ac, q) / det)
}
