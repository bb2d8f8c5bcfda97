//! How often a surface winds around a point.

use super::{Point, vec3};

/// The solid angle of a triangle seen from a point, divided by that of the whole sphere.
///
/// Positive when the triangle's back is towards the point, so that a closed surface that
/// faces outwards sums to one inside and to zero outside.
///
/// Source: A. van Oosterom, J. Strackee, The solid angle of a plane triangle,
/// IEEE Trans. Biomedical Engineering 30(2), 1983 (from memory).
pub(crate) fn share_of_view(from: Point, corners: [Point; 3]) -> f64 {
    let [a, b, c] = corners.map(|corner| vec3::sub(corner, from));
    let (la, lb, lc) = (vec3::length(a), vec3::length(b), vec3::length(c));
    let triple = vec3::dot(a, vec3::cross(b, c));
    let scale = la * lb * lc + vec3::dot(a, b) * lc + vec3::dot(b, c) * la + vec3::dot(c, a) * lb;
    triple.atan2(scale) / std::f64::consts::TAU
}
