//! The little vector arithmetic the mesh kernels need, on plain arrays.

use super::Point;

#[inline]
pub(crate) fn add(a: Point, b: Point) -> Point {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

#[inline]
pub(crate) fn sub(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

#[inline]
pub(crate) fn scale(a: Point, factor: f64) -> Point {
    [a[0] * factor, a[1] * factor, a[2] * factor]
}

#[inline]
pub(crate) fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline]
pub(crate) fn cross(a: Point, b: Point) -> Point {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[inline]
pub(crate) fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

#[inline]
pub(crate) fn distance(a: Point, b: Point) -> f64 {
    length(sub(a, b))
}

/// The vector of length one in the same direction; zero stays zero.
#[inline]
pub(crate) fn unit(a: Point) -> Point {
    let size = length(a);
    if size > 0.0 { scale(a, 1.0 / size) } else { [0.0; 3] }
}
