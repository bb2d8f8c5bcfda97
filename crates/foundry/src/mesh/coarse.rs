//! A lighter copy of a mesh for looking at, never for measuring.

use super::{Mesh, Point, vec3};

/// A copy with fewer facets, and which of its points each point of the original went to.
#[derive(Debug, Clone, PartialEq)]
pub struct Coarse {
    /// The copy.
    pub mesh: Mesh,
    /// For each point of the original the point of the copy.
    pub became: Vec<u32>,
}

impl Coarse {
    /// Brings a field over the original's points to the copy's: the least value of those that
    /// went to the same point, so that a thin place stays thin.
    #[must_use]
    pub fn least(&self, field: &[f32]) -> Vec<f32> {
        let mut least = vec![f32::INFINITY; self.mesh.vertices().len()];
        for (&value, &to) in field.iter().zip(&self.became) {
            let kept = &mut least[to as usize];
            if value < *kept {
                *kept = value;
            }
        }
        least
    }
}

/// Each try takes larger cells by this factor.
const WIDER: f64 = 1.25;

/// Joins points that lie in the same cell of a grid until there are no more facets than asked for.
///
/// # Source
/// Vertex clustering: J. Rossignac, P. Borrel, Multi-resolution 3D approximations for rendering
/// complex scenes, 1993 (from memory).
///
/// # Accuracy
/// No point moves farther than the diagonal of a cell, which is about the mean edge of the copy.
#[must_use]
pub fn coarse(mesh: &Mesh, most_facets: usize) -> Coarse {
    let same = || (0..mesh.vertices().len() as u32).collect();
    let Some(bounds) = mesh.bounds().filter(|_| mesh.triangles().len() > most_facets) else {
        return Coarse { mesh: mesh.clone(), became: same() };
    };
    // Half of the facets' area stands for the squares of the grid that the surface passes.
    let area: f64 = mesh
        .facets()
        .map(|[a, b, c]| vec3::length(vec3::cross(vec3::sub(b, a), vec3::sub(c, a))) / 2.0)
        .sum();
    let mut cell = (2.0 * area / most_facets.max(4) as f64).sqrt().max(bounds.longest() * 1.0e-6);
    loop {
        let copy = clustered(mesh, bounds.least, cell);
        // A cell as large as the model leaves no facet; that is few enough.
        if copy.mesh.triangles().len() <= most_facets {
            return copy;
        }
        cell *= WIDER;
    }
}

fn clustered(mesh: &Mesh, from: Point, cell: f64) -> Coarse {
    let key = |point: Point| {
        let [x, y, z] = vec3::sub(point, from).map(|along| ((along / cell) as u64).min(0x1f_ffff));
        x << 42 | y << 21 | z
    };
    let mut order: Vec<(u64, u32)> =
        mesh.vertices().iter().zip(0..).map(|(&point, index)| (key(point), index)).collect();
    order.sort_unstable();
    let mut became = vec![0; mesh.vertices().len()];
    let mut vertices = Vec::new();
    for together in order.chunk_by(|a, b| a.0 == b.0) {
        let sum = together
            .iter()
            .fold([0.0; 3], |sum, &(_, index)| vec3::add(sum, mesh.vertices()[index as usize]));
        together.iter().for_each(|&(_, index)| became[index as usize] = vertices.len() as u32);
        vertices.push(vec3::scale(sum, 1.0 / together.len() as f64));
    }
    let triangles = mesh
        .triangles()
        .iter()
        .map(|triangle| triangle.map(|index| became[index as usize]))
        .filter(|&[a, b, c]| a != b && b != c && c != a)
        .collect();
    Coarse { mesh: Mesh::trusted(vertices, triangles), became }
}

#[cfg(test)]
mod tests {
    use super::coarse;
    use crate::mesh::measure_mesh;
    use crate::shapes::solid;

    #[test]
    fn a_coarse_ball_is_still_nearly_the_ball() {
        let ball = solid::ball(10.0, 400);
        let copy = coarse(&ball, 4000);
        assert!(copy.mesh.triangles().len() <= 4000, "{}", copy.mesh.triangles().len());
        assert!(copy.mesh.triangles().len() > 1000, "{}", copy.mesh.triangles().len());
        let volume = |mesh| {
            measure_mesh(mesh).ok().and_then(|found| found.volume).map_or(0.0, |mm3| mm3.get())
        };
        let (fine, rough) = (volume(&ball), volume(&copy.mesh));
        assert!((rough / fine - 1.0).abs() < 0.03, "{rough} for {fine}");
        // A field comes over with its least value.
        let mut field = vec![2.0_f32; ball.vertices().len()];
        field[77] = 0.5;
        let least = copy.least(&field);
        assert_eq!(least[copy.became[77] as usize], 0.5);
        assert_eq!(least.iter().filter(|&&value| value < 2.0).count(), 1);
    }

    #[test]
    fn a_small_mesh_stays_as_it_is() {
        let block = solid::cuboid([1.0, 2.0, 3.0]);
        assert_eq!(coarse(&block, 12).mesh, block);
    }
}
