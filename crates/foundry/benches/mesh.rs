//! Reading, measuring and examining models. `cargo bench -p foundry --bench mesh`
//!
//! The column "max alloc" is the memory in use at the peak, besides what the inputs take.
#![allow(clippy::unwrap_used, reason = "a benchmark may fail by panicking")]

use divan::{Bencher, black_box};
use foundry::mesh::render::{RenderOptions, render};
use foundry::mesh::write::{PlyEncoding, obj, ply, stl_binary, stl_text, three_mf};
use foundry::mesh::{
    Mesh, ThicknessOptions, Unit, bore, measure, measure_mesh, read, repair, thickness, union,
};
use foundry::shapes::{Fault, Piece, solid};

#[global_allocator]
static MEMORY: divan::AllocProfiler = divan::AllocProfiler::system();

fn main() {
    divan::main();
}

/// About a million facets.
fn large() -> Mesh {
    solid::torus(10.0, 3.0, 1000, 500)
}

#[divan::bench(sample_count = 5)]
fn read_a_million_of_binary_stl(bencher: Bencher) {
    let bytes = stl_binary(&large(), "").unwrap();
    bencher.bench_local(|| read(black_box(&bytes), "").unwrap());
}

#[divan::bench(sample_count = 5)]
fn measure_a_million(bencher: Bencher) {
    let model = read(&stl_binary(&large(), "").unwrap(), "").unwrap();
    bencher.bench_local(|| measure(black_box(&model), Unit::Millimetre).unwrap());
}

#[divan::bench(sample_count = 3, args = ["stl text", "obj", "ply", "3mf"])]
fn read_a_quarter_million(bencher: Bencher, format: &str) {
    let mesh = solid::torus(10.0, 3.0, 500, 250);
    let bytes = match format {
        "stl text" => stl_text(&mesh, ""),
        "obj" => obj(&mesh, ""),
        "ply" => ply(&mesh, PlyEncoding::LittleEndian),
        _ => three_mf(&mesh, "", Unit::Millimetre).unwrap(),
    };
    bencher.bench_local(|| read(black_box(&bytes), "").unwrap());
}

#[divan::bench(sample_count = 5)]
fn unite_two_signet_rings(bencher: Bencher) {
    let mesh = Fault::OverlappingShells.put_into(&Piece::SignetRing.mesh(), 0);
    bencher.bench_local(|| union(black_box(&mesh)).unwrap());
}

#[divan::bench(sample_count = 5)]
fn walls_of_a_pendant(bencher: Bencher) {
    let mesh = Piece::Pendant.mesh();
    bencher.bench_local(|| thickness(black_box(&mesh), &ThicknessOptions::default()).unwrap());
}

#[divan::bench(sample_count = 5)]
fn bore_of_a_signet_ring(bencher: Bencher) {
    let mesh = Piece::SignetRing.mesh();
    bencher.bench_local(|| bore(black_box(&mesh)));
}

#[divan::bench(sample_count = 5)]
fn repair_of_separate_facets(bencher: Bencher) {
    let mesh = Fault::Unwelded.put_into(&Piece::DrawerKnob.mesh(), 0);
    bencher.bench_local(|| repair(black_box(&mesh), &Default::default()));
}

#[divan::bench(sample_count = 5)]
fn a_thumbnail(bencher: Bencher) {
    let mesh = Piece::Pendant.mesh();
    bencher.bench_local(|| render(black_box(&mesh), &RenderOptions::default()));
}

#[divan::bench(sample_count = 5)]
fn measure_a_piece(bencher: Bencher) {
    let mesh = Piece::HingeLeaf.mesh();
    bencher.bench_local(|| measure_mesh(black_box(&mesh)).unwrap());
}

#[divan::bench(sample_count = 3)]
fn draw_a_pendant(bencher: Bencher) {
    bencher.bench_local(|| Piece::Pendant.mesh());
}
