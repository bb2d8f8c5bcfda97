//! How long plates and trees take.

use foundry::mesh::Mesh;
use foundry::pack::{
    Attach, Face, FlaskKind, Pattern, Plate, PlateOptions, ToPrint, ToTree, TreeRules, pack_flasks,
    pack_plates,
};
use foundry::shapes::Piece;

fn main() {
    divan::main();
}

fn meshes() -> Vec<Mesh> {
    Piece::ALL.into_iter().map(Piece::mesh).collect()
}

/// Ten designs in turn on a plate of 218 × 123 mm: as many pieces as asked, on as many plates as
/// they need.
#[divan::bench(args = [10, 20, 40, 80], sample_count = 3)]
fn plates(bencher: divan::Bencher, count: usize) {
    let meshes = meshes();
    let models: Vec<&Mesh> = meshes.iter().collect();
    let pieces: Vec<ToPrint> =
        (0..count).map(|n| ToPrint { model: n % models.len(), due: Some(n as i64 / 10) }).collect();
    let plate = Plate {
        face: Face::Rectangle { width_mm: 218.0, depth_mm: 123.0 },
        height_mm: 250.0,
        clearance_mm: 2.0,
        edge_mm: 2.0,
        raised_mm: 5.0,
    };
    bencher.bench_local(|| pack_plates(&plate, &models, &pieces, &PlateOptions::default()));
}

/// Ten designs in turn in three kinds of flask.
#[divan::bench(args = [5, 10, 20, 40], sample_count = 3)]
fn flasks(bencher: divan::Bencher, count: usize) {
    let meshes = meshes();
    let patterns: Vec<Pattern<'_>> =
        meshes.iter().map(|mesh| Pattern { mesh, attach: Attach::Heaviest }).collect();
    let pieces: Vec<ToTree> = (0..count)
        .map(|n| ToTree { pattern: n % patterns.len(), due: Some(n as i64 / 10), group: 0 })
        .collect();
    let kind = |diameter_mm, height_mm| FlaskKind {
        diameter_mm,
        height_mm,
        channels: None,
        at_hand: None,
    };
    let kinds = [kind(76.0, 100.0), kind(96.0, 150.0), kind(126.0, 180.0)];
    bencher.bench_local(|| pack_flasks(&kinds, &patterns, &pieces, &TreeRules::default()));
}
