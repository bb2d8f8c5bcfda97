//! Cuts polygons into triangles.

use super::{Point, vec3};

/// Most corners a polygon may have.
///
/// Cutting takes time with the square of the corners; real exports stay far below.
pub(super) const MOST_CORNERS: usize = 1000;

/// Cuts a polygon into triangles and hands each over as three positions in the polygon.
///
/// Convex polygons become a fan from their first corner, others are cut ear by ear.
/// A polygon of less than three corners gives nothing.
pub(super) fn triangulate(polygon: &[Point], mut each: impl FnMut([usize; 3])) {
    let corners = polygon.len();
    if corners < 3 {
        return;
    }
    let normal = newell_normal(polygon);
    if corners == 3 || is_convex(polygon, normal) {
        (1..corners - 1).for_each(|second| each([0, second, second + 1]));
        return;
    }
    let flat = flattened(polygon, normal);
    let mut left: Vec<usize> = (0..corners).collect();
    while left.len() > 3 {
        let count = left.len();
        // A polygon that crosses itself may have no ear; then any corner is cut.
        let ear = (0..count).find(|&at| is_ear(&flat, &left, at)).unwrap_or(0);
        each([left[(ear + count - 1) % count], left[ear], left[(ear + 1) % count]]);
        left.remove(ear);
    }
    each([left[0], left[1], left[2]]);
}

/// Twice the area vector of a polygon, flat or not (Newell's method).
fn newell_normal(polygon: &[Point]) -> Point {
    let origin = polygon[0];
    polygon.windows(2).fold([0.0; 3], |sum, pair| {
        vec3::add(sum, vec3::cross(vec3::sub(pair[0], origin), vec3::sub(pair[1], origin)))
    })
}

fn is_convex(polygon: &[Point], normal: Point) -> bool {
    let count = polygon.len();
    (0..count).all(|at| {
        let before = vec3::sub(polygon[at], polygon[(at + count - 1) % count]);
        let after = vec3::sub(polygon[(at + 1) % count], polygon[at]);
        vec3::dot(vec3::cross(before, after), normal) >= 0.0
    })
}

/// The polygon seen along the axis nearest to its normal, running anticlockwise.
fn flattened(polygon: &[Point], normal: Point) -> Vec<[f64; 2]> {
    let size = normal.map(f64::abs);
    let (u, v, along) = if size[2] >= size[0] && size[2] >= size[1] {
        (0, 1, normal[2])
    } else if size[0] >= size[1] {
        (1, 2, normal[0])
    } else {
        (2, 0, normal[1])
    };
    let sign = if along < 0.0 { -1.0 } else { 1.0 };
    polygon.iter().map(|p| [p[u] * sign, p[v]]).collect()
}

fn is_ear(flat: &[[f64; 2]], left: &[usize], at: usize) -> bool {
    let count = left.len();
    let [a, b, c] = [left[(at + count - 1) % count], left[at], left[(at + 1) % count]];
    let turn = |p: usize, q: usize, r: usize| {
        (flat[q][0] - flat[p][0]) * (flat[r][1] - flat[p][1])
            - (flat[q][1] - flat[p][1]) * (flat[r][0] - flat[p][0])
    };
    turn(a, b, c) > 0.0
        && left.iter().all(|&p| {
            p == a
                || p == b
                || p == c
                || turn(a, b, p) < 0.0
                || turn(b, c, p) < 0.0
                || turn(c, a, p) < 0.0
        })
}
