//! Small surfaces of all kinds: the first byte counts points, three bytes make a point on a
//! coarse grid (so that faces coincide), the rest picks triangles.
#![no_main]

use foundry::mesh::{
    Mesh, RepairOptions, ThicknessOptions, bodies, bore, gaps, measure_mesh, repair,
    silhouette_xy, thickness, union,
};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Some((&count, rest)) = bytes.split_first() else { return };
    let count = usize::from(count % 24 + 3);
    if rest.len() < count * 3 || rest.len() > 400 {
        return;
    }
    let (places, picks) = rest.split_at(count * 3);
    let vertices = places
        .chunks_exact(3)
        .map(|p| [p[0], p[1], p[2]].map(|b| f64::from(b % 16) + f64::from(b / 16) * 1.0e-4))
        .collect();
    let triangles = picks
        .chunks_exact(3)
        .map(|t| [t[0], t[1], t[2]].map(|b| u32::from(b) % count as u32))
        .collect();
    let mesh = Mesh::new(vertices, triangles).expect("usable points").welded();
    let Ok(measure) = measure_mesh(&mesh) else { return };
    let _ = silhouette_xy(&mesh);
    let _ = bore(&mesh);
    let parts = bodies(&mesh);
    assert!(parts.iter().map(|part| part.triangles().len()).sum::<usize>() <= measure.triangles);
    let options = ThicknessOptions { places: 50, ..ThicknessOptions::default() };
    let _ = thickness(&mesh, &options);
    let _ = gaps(&mesh, &options);
    if let Ok(union) = union(&mesh) {
        // No body of this area is larger than a ball.
        let ball = (measure.area.get() / std::f64::consts::PI).powf(1.5) * std::f64::consts::PI / 6.0;
        assert!(union.volume.get() <= ball * (1.0 + 1e-6) + union.error.get());
    }
    let once = repair(&mesh, &RepairOptions::default());
    let twice = repair(&once.mesh, &RepairOptions::default());
    assert!(twice.mesh.triangles().len() <= once.mesh.triangles().len() + 64);
});
