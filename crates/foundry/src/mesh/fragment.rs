//! Cuts facets along the facets that meet them.

use super::contact::unit_normal;
use super::{Point, vec3};

/// Cuts a facet so that no partner passes through the inside of a piece.
///
/// The pieces are convex, run like the facet and cover it.
pub(crate) fn cut_along(
    facet: [Point; 3],
    partners: impl Iterator<Item = [Point; 3]>,
    touch: f64,
) -> Vec<Vec<Point>> {
    let normal = unit_normal(facet);
    let mut pieces = vec![facet.to_vec()];
    for partner in partners {
        let other = unit_normal(partner);
        let lies_in_plane = partner
            .iter()
            .all(|&corner| vec3::dot(vec3::sub(corner, facet[0]), normal).abs() <= touch);
        let mut cut = Vec::with_capacity(pieces.len() + 2);
        for piece in pieces {
            if lies_in_plane {
                cut_by_outline(piece, partner, normal, touch, &mut cut);
            } else if meets(&piece, partner, normal, other, touch) {
                split(piece, partner[0], other, touch, &mut cut);
            } else {
                cut.push(piece);
            }
        }
        pieces = cut;
    }
    pieces
}

/// Whether two triangles meet: touch or cut each other, or lie on each other.
pub(crate) fn triangles_meet(a: [Point; 3], b: [Point; 3], touch: f64) -> bool {
    let (normal, other) = (unit_normal(a), unit_normal(b));
    let height = |p: Point| vec3::dot(vec3::sub(p, a[0]), normal).abs();
    if b.iter().all(|&corner| height(corner) <= touch) {
        !beside_in_plane(&a, b, normal, touch) && !beside_in_plane(&b, a, normal, touch)
    } else {
        meets(&a, b, normal, other, touch)
    }
}

/// For each side of a triangle a point on it and the direction across it, in its plane.
fn sides([a, b, c]: [Point; 3], normal: Point) -> [(Point, Point); 3] {
    [(a, b), (b, c), (c, a)]
        .map(|(from, to)| (from, vec3::unit(vec3::cross(vec3::sub(to, from), normal))))
}

/// Whether a side of the triangle has the piece on its outer side, both in one plane.
fn beside_in_plane(piece: &[Point], triangle: [Point; 3], normal: Point, touch: f64) -> bool {
    sides(triangle, normal).into_iter().any(|(on, across)| {
        let height = |p: Point| vec3::dot(vec3::sub(p, on), across);
        let inner: f64 = triangle.iter().map(|&p| height(p)).sum();
        piece.iter().all(|&p| height(p) * inner.signum() <= touch)
    })
}

/// Cuts a piece along the three sides of a triangle in its own plane.
fn cut_by_outline(
    piece: Vec<Point>,
    partner: [Point; 3],
    normal: Point,
    touch: f64,
    cut: &mut Vec<Vec<Point>>,
) {
    if beside_in_plane(&piece, partner, normal, touch) {
        cut.push(piece);
        return;
    }
    let mut pieces = vec![piece];
    for (on, across) in sides(partner, normal) {
        let mut next = Vec::new();
        pieces.into_iter().for_each(|piece| split(piece, on, across, touch, &mut next));
        pieces = next;
    }
    cut.append(&mut pieces);
}

/// Whether a triangle in another plane meets the inside of a piece.
///
/// Both planes share a line; piece and triangle each have a stretch of it.
fn meets(piece: &[Point], partner: [Point; 3], normal: Point, other: Point, touch: f64) -> bool {
    let line = vec3::cross(normal, other);
    let on_piece = stretch(piece, partner[0], other, line, touch);
    let on_partner = stretch(&partner, piece[0], normal, line, touch);
    match (on_piece, on_partner) {
        (Some((a, b)), Some((c, d))) => a.max(c) <= b.min(d) + touch * vec3::length(line),
        _ => false,
    }
}

/// The stretch along a line that a convex outline has in common with a plane.
fn stretch(
    outline: &[Point],
    on_plane: Point,
    normal: Point,
    line: Point,
    touch: f64,
) -> Option<(f64, f64)> {
    let height = |p: Point| vec3::dot(vec3::sub(p, on_plane), normal);
    let mut range: Option<(f64, f64)> = None;
    let mut include = |p: Point| {
        let along = vec3::dot(p, line);
        range = Some(range.map_or((along, along), |(a, b)| (a.min(along), b.max(along))));
    };
    for (at, &from) in outline.iter().enumerate() {
        let to = outline[(at + 1) % outline.len()];
        let (below, above) = (height(from), height(to));
        if below.abs() <= touch {
            include(from);
        } else if above.abs() > touch && (below < 0.0) != (above < 0.0) {
            include(between(from, to, below / (below - above)));
        }
    }
    range
}

/// Splits a convex piece by a plane; nothing is cut off that is thinner than `touch`.
fn split(piece: Vec<Point>, on_plane: Point, normal: Point, touch: f64, cut: &mut Vec<Vec<Point>>) {
    let heights: Vec<f64> =
        piece.iter().map(|&p| vec3::dot(vec3::sub(p, on_plane), normal)).collect();
    let above = heights.iter().any(|&height| height > touch);
    let below = heights.iter().any(|&height| height < -touch);
    if !(above && below) {
        cut.push(piece);
        return;
    }
    let (mut upper, mut lower) = (Vec::new(), Vec::new());
    for (at, &from) in piece.iter().enumerate() {
        let next = (at + 1) % piece.len();
        let (here, there) = (heights[at], heights[next]);
        if here >= -touch {
            upper.push(from);
        }
        if here <= touch {
            lower.push(from);
        }
        if here.abs() > touch && there.abs() > touch && (here < 0.0) != (there < 0.0) {
            let crossing = between(from, piece[next], here / (here - there));
            upper.push(crossing);
            lower.push(crossing);
        }
    }
    cut.extend([upper, lower].into_iter().filter(|piece| piece.len() >= 3));
}

fn between(from: Point, to: Point, share: f64) -> Point {
    vec3::add(from, vec3::scale(vec3::sub(to, from), share))
}
