//! Any bytes as a model file.
#![no_main]

use foundry::mesh::write::{PlyEncoding, ply};
use foundry::mesh::{Limits, Unit, guess_unit, measure, read, read_within};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits { triangles: 20_000, unpacked_bytes: 1 << 22, ..Limits::default() };
    let Ok(model) = read_within(bytes, "", &limits) else { return };
    let _ = guess_unit(&model);
    let here = measure(&model, Unit::Millimetre);
    let again = read(&ply(&model.mesh, PlyEncoding::LittleEndian), "").expect("what was written");
    assert_eq!(again.mesh.triangles().len(), model.mesh.triangles().len());
    let there = measure(&again, Unit::Millimetre);
    assert_eq!(here, there, "a copy measures the same");
});
