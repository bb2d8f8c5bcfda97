//! Where a piece is joined to its tree.

use super::refusal::PackRefusal;
use crate::mesh::bvh::Bvh;
use crate::mesh::{Mesh, Point, ThicknessOptions, thickness, vec3};

/// How the place is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Attach {
    /// Where the section is heaviest and a runner can reach it from outside: metal that freezes
    /// last has to be fed longest (common practice, no source).
    Heaviest,
    /// The heaviest section on the side of the model that faces this way.
    Facing(Point),
    /// The place of the surface nearest to this point of the model, in millimetres.
    At(Point),
}

/// A place on the surface and the direction that leads out of the piece there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attachment {
    /// The place, in the model's own coordinates.
    pub at_mm: Point,
    /// Of length one, outwards.
    pub outwards: Point,
    /// Diameter of the largest ball inside that touches the surface there; none where the surface
    /// is open or nothing lies opposite.
    pub section_mm: Option<f64>,
}

/// Sections this near to the heaviest count as the heaviest too.
const NEARLY: f64 = 0.85;
/// How far a runner has to have free way in front of it, in millimetres.
const FREE_WAY_MM: f64 = 40.0;

/// Chooses the place where a piece is joined to its tree.
///
/// Sections are judged by the largest ball that touches the surface from inside. Among the
/// heaviest, a place that faces away from the middle of the piece is taken, so that the piece
/// hangs clear of the tree; a place from which something of the piece itself lies in the way, as
/// in the bore of a ring, is not.
///
/// # Accuracy
/// Sections are looked at in about 4,000 places; the place is a point of the mesh.
///
/// # Refuses
/// A model without facets.
pub fn attachment(mesh: &Mesh, attach: Attach) -> Result<Attachment, PackRefusal> {
    let bounds = mesh.bounds().ok_or(PackRefusal::NoModel { model: 0 })?;
    let normals = normals(mesh);
    let options = ThicknessOptions { places: 4_000, ..Default::default() };
    // An open or broken surface has no sections; every place is then as good.
    let sections = thickness(mesh, &options).map_or_else(|_| Vec::new(), |found| found.by_ball);
    let tree = Bvh::new(mesh);
    // Walls are measured between surfaces that face each other, so at the end of a rod its length
    // is found. Metal is only as heavy there as the sides leave room for.
    let section = |n: usize| {
        let across = sections.get(n).map(|&mm| f64::from(mm)).filter(|mm| mm.is_finite())?;
        let middle = vec3::sub(mesh.vertices()[n], vec3::scale(normals[n], 0.5 * across));
        let near = tree.nearest(middle, 0.5 * across, |_| true);
        Some(near.map_or(across, |near| 2.0 * vec3::length(vec3::sub(near.point, middle))))
    };
    if let Attach::At(point) = attach {
        let near = tree.nearest(point, f64::INFINITY, |_| true);
        let near = near.ok_or(PackRefusal::NoModel { model: 0 })?;
        let [a, b, c] = mesh.corners(mesh.triangles()[near.facet as usize]);
        let outwards = vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)));
        let corner = mesh.triangles()[near.facet as usize][0] as usize;
        return Ok(Attachment { at_mm: near.point, outwards, section_mm: section(corner) });
    }
    let middle = middle(mesh);
    let used: Vec<usize> = (0..normals.len()).filter(|&n| normals[n] != [0.0; 3]).collect();
    let facing = |n: usize| match attach {
        Attach::Facing(way) => {
            let way = vec3::unit(way);
            let reach = |p: Point| vec3::dot(p, way);
            let far = used.iter().map(|&n| reach(mesh.vertices()[n])).fold(f64::MIN, f64::max);
            far - reach(mesh.vertices()[n]) <= 0.12 * bounds.diagonal()
                && vec3::dot(normals[n], way) > 0.5
        }
        _ => true,
    };
    let side: Vec<usize> = match attach {
        Attach::Facing(_) => {
            let side: Vec<usize> = used.iter().copied().filter(|&n| facing(n)).collect();
            if side.is_empty() { used.clone() } else { side }
        }
        _ => used.clone(),
    };
    let is_free = |n: usize| {
        let start = vec3::add(mesh.vertices()[n], vec3::scale(normals[n], 1e-3));
        tree.first_hit(start, normals[n], 1e-3..FREE_WAY_MM, |_| true).is_none()
    };
    let away = |n: usize| vec3::dot(vec3::sub(mesh.vertices()[n], middle), normals[n]);
    let mut heavy = heaviest(&side, &sections, section);
    heavy.sort_by(|&a, &b| away(b).total_cmp(&away(a)).then(a.cmp(&b)));
    let chosen = heavy.iter().copied().find(|&n| is_free(n)).or_else(|| heavy.first().copied());
    let chosen = chosen.ok_or(PackRefusal::NoModel { model: 0 })?;
    Ok(Attachment {
        at_mm: mesh.vertices()[chosen],
        outwards: normals[chosen],
        section_mm: section(chosen),
    })
}

/// The points with the heaviest sections, all of them where none has one.
///
/// A section is at most as wide as the way across. From the widest on, those are felt whose way is
/// not too short for the heaviest section found: mostly a small part of all.
fn heaviest(
    side: &[usize],
    across_mm: &[f32],
    section: impl Fn(usize) -> Option<f64>,
) -> Vec<usize> {
    let across = |&n: &usize| across_mm.get(n).map(|&mm| f64::from(mm)).filter(|mm| mm.is_finite());
    let mut widest: Vec<(f64, usize)> =
        side.iter().filter_map(|n| Some((across(n)?, *n))).collect();
    widest.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut heaviest_mm = 0.0_f64;
    let mut felt = Vec::new();
    for (across, n) in widest {
        if across < NEARLY * heaviest_mm {
            break;
        }
        let section = section(n).unwrap_or(0.0);
        heaviest_mm = heaviest_mm.max(section);
        felt.push((section, n));
    }
    if heaviest_mm <= 0.0 {
        return side.to_vec();
    }
    felt.into_iter().filter(|one| one.0 >= NEARLY * heaviest_mm).map(|one| one.1).collect()
}

/// The direction the surface faces at each point, weighted by area; zero for points not used.
fn normals(mesh: &Mesh) -> Vec<Point> {
    let mut sums = vec![[0.0; 3]; mesh.vertices().len()];
    for &triangle in mesh.triangles() {
        let [a, b, c] = mesh.corners(triangle);
        let normal = vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
        for index in triangle {
            sums[index as usize] = vec3::add(sums[index as usize], normal);
        }
    }
    sums.into_iter().map(vec3::unit).collect()
}

/// The middle of the surface, weighted by area.
fn middle(mesh: &Mesh) -> Point {
    let (mut sum, mut area) = ([0.0; 3], 0.0);
    for [a, b, c] in mesh.facets() {
        let weight = vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)));
        let third = vec3::scale(vec3::add(vec3::add(a, b), c), 1.0 / 3.0);
        sum = vec3::add(sum, vec3::scale(third, weight));
        area += weight;
    }
    if area > 0.0 { vec3::scale(sum, 1.0 / area) } else { sum }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shapes::solid;

    #[test]
    fn a_club_is_joined_at_its_thick_end() {
        let shaft = solid::cylinder(1.0, 30.0, 24);
        let head = solid::ball(5.0, 24).moved([0.0, 0.0, 34.0]).unwrap();
        let club = shaft.joined(&head).unwrap();
        let found = attachment(&club, Attach::Heaviest).unwrap();
        assert!(found.at_mm[2] > 28.0, "{found:?}");
        let below = attachment(&club, Attach::Facing([0.0, 0.0, -1.0])).unwrap();
        assert!(below.at_mm[2].abs() < 1.0 && below.outwards[2] < -0.5, "{below:?}");
    }

    #[test]
    fn a_ring_is_not_joined_inside_its_bore() {
        let found = attachment(&solid::tube(8.0, 10.0, 4.0, 48), Attach::Heaviest).unwrap();
        let [x, y, _] = found.at_mm;
        let out = (x * found.outwards[0] + y * found.outwards[1]) / x.hypot(y);
        assert!(x.hypot(y) > 9.0 && out > 0.0, "{found:?}");
    }

    #[test]
    fn a_chosen_point_is_taken_to_the_surface() {
        let cube = solid::cuboid([10.0, 10.0, 10.0]);
        let found = attachment(&cube, Attach::At([5.0, 4.0, 13.0])).unwrap();
        assert_eq!((found.at_mm, found.outwards), ([5.0, 4.0, 10.0], [0.0, 0.0, 1.0]));
    }
}
