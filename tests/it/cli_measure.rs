//! `pourday measure`: numbers that can be checked with a ruler, and one clear line for bad files.

use std::path::Path;
use std::process::{Command, Output};

use foundry::mesh::{Unit, write};
use foundry::shapes::{Fault, solid};
use serde_json::Value;

fn measure(folder: &Path, name: &str, content: &[u8], more: &[&str]) -> Output {
    let file = folder.join(name);
    std::fs::write(&file, content).unwrap();
    Command::new(env!("CARGO_BIN_EXE_pourday"))
        .arg("measure")
        .arg(&file)
        .args(more)
        .output()
        .unwrap()
}

fn json(output: &Output) -> Value {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn near(value: &Value, wanted: f64) {
    let found = value.as_f64().unwrap();
    assert!((found - wanted).abs() <= 1e-9 * wanted, "{found} is not {wanted}");
}

/// One corner of a block cut off, so that one triangle is missing.
fn open_block() -> Vec<u8> {
    let block = write::stl_binary(&solid::cuboid([10.0, 20.0, 30.0]), "open").unwrap();
    let mut cut = block[..block.len() - 50].to_vec();
    cut[80..84].copy_from_slice(&11_u32.to_le_bytes());
    cut
}

#[test]
fn a_block_has_the_volume_area_and_box_of_its_sides() {
    let folder = tempfile::tempdir().unwrap();
    let block = solid::cuboid([10.0, 20.0, 30.0]);
    let files = [
        ("block.stl", write::stl_binary(&block, "block").unwrap()),
        ("block.obj", write::obj(&block, "block")),
        ("block.3mf", write::three_mf(&block, "block", Unit::Millimetre).unwrap()),
    ];
    for (name, content) in files {
        let found = json(&measure(folder.path(), name, &content, &["--json"]));
        assert_eq!(found["file"], name);
        assert_eq!(found["triangles"], 12);
        assert_eq!(found["unit"], "mm");
        assert_eq!(found["closed"], true);
        assert_eq!(found["shells"], 1);
        near(&found["volume_mm3"], 6000.0);
        near(&found["area_mm2"], 2200.0);
        for (side, wanted) in [10.0, 20.0, 30.0].into_iter().enumerate() {
            near(&found["box_mm"][side], wanted);
        }
        assert_eq!(found["problems"].as_array().unwrap().len(), 0);
    }
}

#[test]
fn a_unit_that_is_told_counts_and_an_inch_is_25_4_mm() {
    let folder = tempfile::tempdir().unwrap();
    let block = write::stl_binary(&solid::cuboid([1.0, 1.0, 1.0]), "inch").unwrap();
    let found = json(&measure(folder.path(), "a.stl", &block, &["--unit", "inch", "--json"]));
    near(&found["volume_mm3"], 25.4 * 25.4 * 25.4);
    assert_eq!(found["unit"], "inch");
    let doubtful = json(&measure(folder.path(), "a.stl", &block, &["--json"]));
    assert_eq!(doubtful["unit_certain"], false, "1 of what? It could be an inch");
}

#[test]
fn an_open_model_has_no_volume_and_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let output = measure(folder.path(), "open.stl", &open_block(), &["--json"]);
    let found = json(&output);
    assert_eq!(found["closed"], false);
    assert_eq!(found["volume_mm3"], Value::Null);
    assert_eq!(found["problems"][0]["code"], "open_edges");
    let text = measure(folder.path(), "open.stl", &open_block(), &[]);
    assert!(String::from_utf8_lossy(&text.stdout).contains("the surface is open"));
}

#[test]
fn a_model_that_is_inside_out_keeps_its_volume_and_is_noted() {
    let folder = tempfile::tempdir().unwrap();
    let turned = Fault::InsideOut.put_into(&solid::cuboid([10.0, 20.0, 30.0]), 1);
    let content = write::stl_binary(&turned, "turned").unwrap();
    let found = json(&measure(folder.path(), "turned.stl", &content, &["--json"]));
    near(&found["volume_mm3"], 6000.0);
    assert_eq!(found["problems"][0]["code"], "inside_out");
}

#[test]
fn a_bad_file_fails_with_one_line_that_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let mut nan = write::stl_binary(&solid::cuboid([10.0, 10.0, 10.0]), "nan").unwrap();
    nan[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
    let text = b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n";
    let none = b"solid nothing\nendsolid nothing\n";
    let cases: [(&str, &[u8], &str); 5] = [
        ("empty.stl", b"", "empty"),
        ("note.stl", b"%PDF-1.7 not a model at all", "not a model"),
        ("nan.stl", &nan, "not a usable number"),
        ("cut.stl", text, "cut.stl"),
        ("none.stl", none, "no triangles"),
    ];
    for (name, content, wanted) in cases {
        let output = measure(folder.path(), name, content, &["--json"]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success(), "{name}");
        assert!(output.stdout.is_empty(), "{name}");
        assert_eq!(said.trim_end().lines().count(), 1, "{name}: {said}");
        assert!(said.contains(wanted), "{name}: {said}");
    }
    let missing = Command::new(env!("CARGO_BIN_EXE_pourday"))
        .args(["measure", "/nowhere/at/all.stl"])
        .output()
        .unwrap();
    assert!(!missing.status.success());
    assert!(String::from_utf8_lossy(&missing.stderr).contains("all.stl"));
}
