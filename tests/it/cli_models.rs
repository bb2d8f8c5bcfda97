//! `pourday measure`, `feed` and `size`: walls, bore, feeding and ring sizes from the command line.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use foundry::mesh::{Mesh, write};
use foundry::shapes::{Fault, solid};
use serde_json::Value;

fn pourday(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pourday")).args(arguments).output().unwrap()
}

fn json(output: &Output) -> Value {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn said(output: &Output) -> String {
    assert!(!output.status.success());
    assert!(output.stdout.is_empty());
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn keep(folder: &Path, mesh: &Mesh) -> PathBuf {
    let file = folder.join("model.stl");
    std::fs::write(&file, write::stl_binary(mesh, "model").unwrap()).unwrap();
    file
}

fn look(mesh: &Mesh, more: &[&str]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let file = keep(folder.path(), mesh);
    let mut arguments = vec!["measure", file.to_str().unwrap(), "--unit", "mm", "--json"];
    arguments.extend(more);
    json(&pourday(&arguments))
}

fn near(value: &Value, wanted: f64, within: f64) {
    let found = value.as_f64().unwrap();
    assert!((found - wanted).abs() <= within, "{found} is not {wanted}");
}

#[test]
fn a_plate_is_as_thick_as_it_was_drawn_and_thin_where_the_limit_says_so() {
    let plate = solid::cuboid([30.0, 20.0, 1.25]);
    let found = look(&plate, &["--limit", "1.5"]);
    near(&found["thickness"]["min_mm"], 1.25, 1e-3);
    near(&found["thickness"]["p01_mm"], 1.25, 1e-3);
    near(&found["thickness"]["limit_mm"], 1.5, 0.0);
    assert!(found["thickness"]["area_below_mm2"].as_f64().unwrap() > 1000.0);
    near(&found["union_volume_mm3"], 750.0, 1e-6);
    assert_eq!(found["bore"], Value::Null);
    assert_eq!(found["repairs"].as_array().unwrap().len(), 0);
    let safe = look(&plate, &["--limit", "1.0"]);
    near(&safe["thickness"]["area_below_mm2"], 0.0, 1e-9);
}

#[test]
fn overlapping_bodies_take_up_the_volume_of_their_union() {
    let block = solid::cuboid([10.0, 10.0, 10.0]);
    let both = block.joined(&block.moved([5.0, 0.0, 0.0]).unwrap()).unwrap();
    near(&look(&both, &[])["union_volume_mm3"], 1500.0, 1e-3);
}

#[test]
fn a_facet_that_faces_inwards_is_listed_among_the_repairs() {
    let turned = Fault::InsideOut.put_into(&solid::cuboid([10.0, 20.0, 30.0]), 1);
    let found = look(&turned, &[]);
    let repairs = found["repairs"].as_array().unwrap();
    assert!(
        repairs.iter().any(|line| line.as_str().unwrap().contains("inside out")),
        "{repairs:?}"
    );
    near(&found["thickness"]["min_mm"], 10.0, 0.1);
}

#[test]
fn a_size_is_written_on_all_scales_with_the_bore_to_draw() {
    // ISO 8653: the size is the inside circumference in millimetres.
    let found = json(&pourday(&["size", "--size", "ISO 54", "--json"]));
    near(&found["inside_diameter_mm"], 54.0 / std::f64::consts::PI, 1e-9);
    assert_eq!(found["sizes"]["iso_8653"]["size"], "54");
    near(&found["bore_to_draw_mm"], 54.0 / std::f64::consts::PI, 1e-9);
    // 0.458 in + 0.032 in for each size, as most charts have it.
    let us = json(&pourday(&[
        "size",
        "--size",
        "US 7",
        "--contraction",
        "2",
        "--finishing",
        "0.2",
        "--json",
    ]));
    near(&us["inside_diameter_mm"], (0.458 + 0.032 * 7.0) * 25.4, 1e-9);
    near(&us["bore_to_draw_mm"], ((0.458 + 0.032 * 7.0) * 25.4 - 0.2) / 0.98, 1e-9);
    let back = json(&pourday(&["size", "--inside-diameter", "17.3", "--json"]));
    assert_eq!(back["sizes"]["us"]["size"], "7");
    assert_eq!(back["sizes"]["iso_8653"]["size"], "54");
}

#[test]
fn sizes_that_are_none_are_refused_with_what_to_write_instead() {
    assert!(said(&pourday(&["size", "--size", "54"])).contains("names no scale"));
    assert!(said(&pourday(&["size", "--size", "US ten"])).contains("7.5"));
    assert!(said(&pourday(&["size", "--inside-diameter", "0"])).contains("above 0"));
    let unknown = said(&pourday(&["size", "--size", "UK N", "--alloy", "cheese"]));
    assert!(unknown.contains("not an alloy"));
    assert!(!pourday(&["size"]).status.success());
}

#[test]
fn a_cube_freezes_last_in_its_middle_and_a_stout_sprue_feeds_it() {
    let folder = tempfile::tempdir().unwrap();
    let block = solid::cuboid([10.0, 10.0, 10.0]);
    let [x, y, z] = block.bounds().unwrap().centre();
    let file = keep(folder.path(), &block);
    let file = file.to_str().unwrap();
    let common =
        ["feed", file, "--unit", "mm", "--alloy", "silicon bronze", "--pitch", "1", "--no-advice"];
    let mut bare = common.to_vec();
    bare.push("--json");
    let found = json(&pourday(&bare));
    for (axis, wanted) in [x, y, z].into_iter().enumerate() {
        near(&found["last_to_freeze"]["at_mm"][axis], wanted, 1.5);
    }
    assert_eq!(found["enough"], false, "without a sprue nothing feeds it");
    let pocket = &found["pockets"][0];
    assert!(pocket["volume_mm3"].as_f64().unwrap() > 0.0);
    let porosity = &pocket["porosity_mm3"];
    assert!(porosity["low"].as_f64() <= porosity["high"].as_f64());
    near(&found["pitch_mm"], 1.0, 1e-9);
    assert!(found["wall_seconds"].as_f64().unwrap() > 0.0);
    let sprue = format!("{x},{y},{},12,15", z + 5.0);
    let mut fed = bare.clone();
    fed.extend(["--sprue", &sprue]);
    let fed = json(&pourday(&fed));
    assert_eq!(fed["enough"], true, "{fed}");
    assert_eq!(fed["pockets"].as_array().unwrap().len(), 0);
}

#[test]
fn a_feed_that_cannot_be_computed_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let file = keep(folder.path(), &solid::cuboid([10.0, 10.0, 10.0]));
    let file = file.to_str().unwrap();
    assert!(said(&pourday(&["feed", file, "--alloy", "cheese"])).contains("cheese"));
    let few = pourday(&["feed", file, "--alloy", "silver", "--sprue", "1,2,3"]);
    assert!(said(&few).contains("x,y,z,diameter,length"));
}
