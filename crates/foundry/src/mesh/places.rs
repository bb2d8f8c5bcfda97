//! Places spread over a surface, and the direction it faces there.

use rayon::prelude::*;

use super::{Mesh, Point, vec3};

/// A place on the surface that is looked at.
pub(super) struct Place {
    pub(super) facet: u32,
    pub(super) point: Point,
    /// The direction the surface faces there, as if it were smooth.
    pub(super) normal: Point,
    /// The area it stands for.
    pub(super) area: f64,
}

/// Places spread over a surface, one for each unit of area at the least; so many are asked for.
///
/// Each facet has one, unless there are more than twice as many facets: then those facets have
/// one at which the area counted so far passes the next half unit, and stand for those between.
pub(super) fn places_on(mesh: &Mesh, normals: &[Point], asked: usize, area: f64) -> Vec<Place> {
    let smooth = smooth_normals(mesh, normals);
    let unit_area = area / asked.max(1) as f64;
    let thinned = mesh.triangles().len() / 2 > asked;
    let mut counted = 0.0;
    let mut places = Vec::new();
    for (facet, corners) in mesh.facets().enumerate() {
        let [a, b, c] = corners;
        let (u, v) = (vec3::sub(b, a), vec3::sub(c, a));
        let area = vec3::length(vec3::cross(u, v)) / 2.0;
        if area == 0.0 {
            continue;
        }
        if thinned {
            counted += area;
            if counted < unit_area / 2.0 {
                continue;
            }
        }
        let stands_for = if thinned { std::mem::take(&mut counted) } else { area };
        // Cut each side into as many parts, and look at the middle of each part.
        let parts = ((area / unit_area).sqrt().ceil()).clamp(1.0, 64.0) as u32;
        let share = 1.0 / f64::from(parts);
        for row in 0..parts {
            for column in 0..2 * (parts - row) - 1 {
                let (at, upside_down) = (column / 2, column % 2 == 1);
                let third = if upside_down { 2.0 / 3.0 } else { 1.0 / 3.0 };
                let s = (f64::from(at) + third) * share;
                let t = (f64::from(row) + third) * share;
                let point = vec3::add(a, vec3::add(vec3::scale(u, s), vec3::scale(v, t)));
                let [at_a, at_b, at_c] = smooth[facet];
                let mixed = vec3::add(vec3::scale(at_a, 1.0 - s - t), vec3::scale(at_b, s));
                let normal = vec3::unit(vec3::add(mixed, vec3::scale(at_c, t)));
                let area = stands_for * share * share;
                places.push(Place { facet: facet as u32, point, normal, area });
            }
        }
    }
    places
}

/// For each corner of each facet the mean direction of those facets around the point that
/// face nearly the same way, weighted by area: on a smooth surface its true direction, beside
/// a sharp edge that of its own side.
fn smooth_normals(mesh: &Mesh, normals: &[Point]) -> Vec<[Point; 3]> {
    /// Facets that meet at less than 30 degrees are taken for parts of a smooth surface.
    const SMOOTH: f64 = 0.866;
    let mut offsets = vec![0_u32; mesh.vertices().len() + 1];
    mesh.triangles().iter().flatten().for_each(|&index| offsets[index as usize + 1] += 1);
    (1..offsets.len()).for_each(|at| offsets[at] += offsets[at - 1]);
    let mut around = vec![0_u32; mesh.triangles().len() * 3];
    let mut next = offsets.clone();
    for (facet, triangle) in mesh.triangles().iter().enumerate() {
        for &index in triangle {
            around[next[index as usize] as usize] = facet as u32;
            next[index as usize] += 1;
        }
    }
    let weighted: Vec<Point> =
        mesh.facets().map(|[a, b, c]| vec3::cross(vec3::sub(b, a), vec3::sub(c, a))).collect();
    let facets = mesh.triangles().par_iter().zip(normals.par_iter());
    facets
        .map(|(triangle, &own)| {
            triangle.map(|index| {
                let (from, to) = (offsets[index as usize], offsets[index as usize + 1]);
                let alike = around[from as usize..to as usize]
                    .iter()
                    .filter(|&&facet| vec3::dot(normals[facet as usize], own) > SMOOTH);
                vec3::unit(alike.fold(own.map(|c| c * f64::MIN_POSITIVE), |sum, &facet| {
                    vec3::add(sum, weighted[facet as usize])
                }))
            })
        })
        .collect()
}
