//! A model's surface covered by small balls: what a tree is packed with.

use std::collections::HashMap;

use crate::mesh::{Mesh, Point, vec3};

/// A ball that covers a patch of the surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ball {
    pub(super) centre: [f32; 3],
    pub(super) radius: f32,
}

/// About so many balls cover a piece.
const BALLS: f64 = 4500.0;

/// Covers every point of a mesh's surface by balls, in an order in which each stretch of the list
/// is spread over the whole piece. The balls may reach beyond the surface by their radius, about
/// half a millimetre for a ring.
pub(super) fn cover(mesh: &Mesh) -> Vec<Ball> {
    let area: f64 = mesh
        .facets()
        .map(|[a, b, c]| vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))) / 2.0)
        .sum();
    let edge = (area / BALLS).sqrt().clamp(0.3, 4.0);
    let longest = edge / 4.0;
    // For each cube, the box around the middles of the parts of facets in it, and how far a
    // point of such a part may be from its middle.
    let mut cubes: HashMap<[i32; 3], (Point, Point, f64)> = HashMap::new();
    let mut parts: Vec<[Point; 3]> = Vec::new();
    for facet in mesh.facets() {
        parts.push(facet);
        while let Some([a, b, c]) = parts.pop() {
            let sides = [vec3::distance(a, b), vec3::distance(b, c), vec3::distance(c, a)];
            let (at, side) = sides.iter().enumerate().fold((0, 0.0), |(at, most), (n, &side)| {
                if side > most { (n, side) } else { (at, most) }
            });
            if side > longest {
                // The longest side is halved.
                let [p, q, r] = [[a, b, c], [b, c, a], [c, a, b]][at];
                let half = vec3::scale(vec3::add(p, q), 0.5);
                parts.extend([[p, half, r], [half, q, r]]);
                continue;
            }
            let middle = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
            let reach =
                [a, b, c].map(|p| vec3::distance(p, middle)).into_iter().fold(0.0, f64::max);
            let cube = middle.map(|coordinate| (coordinate / edge).floor() as i32);
            let (least, greatest, most) =
                cubes.entry(cube).or_insert(([f64::INFINITY; 3], [f64::NEG_INFINITY; 3], 0.0));
            for axis in 0..3 {
                least[axis] = least[axis].min(middle[axis]);
                greatest[axis] = greatest[axis].max(middle[axis]);
            }
            *most = most.max(reach);
        }
    }
    let mut cubes: Vec<_> = cubes.into_iter().collect();
    // Not in the order of the map, which differs each time; mixed, so that neighbours in space
    // are far apart in the list.
    cubes.sort_unstable_by_key(|(cube, _)| {
        let mixed = cube.iter().fold(17_u64, |sum, &c| {
            (sum ^ u64::from(c as u32)).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(29)
        });
        (mixed, *cube)
    });
    cubes
        .into_iter()
        .map(|(_, (least, greatest, reach))| Ball {
            centre: vec3::scale(vec3::add(least, greatest), 0.5).map(|c| c as f32),
            // A little for rounding to single precision.
            radius: (vec3::distance(least, greatest) / 2.0 + reach + 1e-4) as f32,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shapes::solid;

    #[test]
    fn balls_cover_every_point_of_a_surface_closely() {
        let mesh = solid::tube(8.0, 10.5, 5.0, 48);
        let balls = cover(&mesh);
        let largest = balls.iter().map(|ball| ball.radius).fold(0.0, f32::max);
        assert!(largest < 0.7, "{largest} mm");
        for [a, b, c] in mesh.facets() {
            for (s, t) in
                [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.31, 0.47), (0.77, 0.11), (0.5, 0.5)]
            {
                let p = vec3::add(
                    vec3::scale(a, 1.0 - s - t),
                    vec3::add(vec3::scale(b, s), vec3::scale(c, t)),
                );
                let covered = balls.iter().any(|ball| {
                    vec3::distance(ball.centre.map(f64::from), p) <= f64::from(ball.radius)
                });
                assert!(covered, "{p:?}");
            }
        }
        assert_eq!(balls, cover(&mesh));
    }
}
