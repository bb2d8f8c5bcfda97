//! `pourday plate` and `pack`: positions from the command line.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use foundry::mesh::{Mesh, write};
use foundry::shapes::solid;
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

fn keep(folder: &Path, name: &str, mesh: &Mesh) -> PathBuf {
    let file = folder.join(name);
    std::fs::write(&file, write::stl_binary(mesh, "model").unwrap()).unwrap();
    file
}

#[test]
fn blocks_are_set_on_plates_due_first_with_what_each_run_takes() {
    let folder = tempfile::tempdir().unwrap();
    let block = keep(folder.path(), "block.stl", &solid::cuboid([30.0, 30.0, 15.0]));
    let small = keep(folder.path(), "small.stl", &solid::cuboid([10.0, 10.0, 5.0]));
    let blocks = format!("{}:3", block.display());
    let arguments = [
        "plate",
        &blocks,
        small.to_str().unwrap(),
        "--unit",
        "mm",
        "--plate",
        "70x40x100",
        "--due",
        "9,1",
        "--litre-price",
        "100",
    ];
    let found = json(&pourday(&arguments));
    let plates = found["plates"].as_array().unwrap();
    assert_eq!(plates.len(), 2);
    assert_eq!(plates[0]["pieces"][0]["file"], "small.stl");
    // 15 mm and 5 mm of supports in layers of 0.05 mm: 400 layers; 5 of 40 s, 395 of 6 s, and
    // 400 lifts of 6 s.
    assert_eq!(plates[1]["layers"], 400);
    assert!((plates[1]["minutes"].as_f64().unwrap() - 4970.0 / 60.0).abs() < 1e-6);
    let pieces = plates[1]["pieces"].as_array().unwrap().len() as f64;
    let resin = 13.5 * pieces * 1.2 + 3.0;
    assert!((plates[1]["resin_ml"].as_f64().unwrap() - resin).abs() < 1e-6);
    assert!((plates[1]["resin_cost"].as_f64().unwrap() - resin / 10.0).abs() < 1e-6);
}

#[test]
fn what_does_not_go_on_the_plate_is_left_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    let long = keep(folder.path(), "long.stl", &solid::cuboid([300.0, 10.0, 10.0]));
    let found =
        json(&pourday(&["plate", long.to_str().unwrap(), "--unit", "mm", "--plate", "70x40x100"]));
    assert_eq!(found["plates"].as_array().unwrap().len(), 0);
    assert!(found["left"][0]["why"].as_str().unwrap().contains("does not go on the plate"));
}

#[test]
fn a_plate_that_is_none_is_refused() {
    assert!(said(&pourday(&["plate", "a.stl", "--plate", "70x40"])).contains("3 lengths"));
    assert!(
        said(&pourday(&["plate", "nowhere.stl", "--plate", "70x40x100"])).contains("nowhere.stl")
    );
    assert!(said(&pourday(&["plate", "a.stl:many", "--plate", "70x40x100"])).contains("how many"));
}

#[test]
fn pieces_hang_on_trees_in_flasks() {
    let folder = tempfile::tempdir().unwrap();
    let ball = keep(folder.path(), "ball.stl", &solid::ball(5.0, 24));
    let huge = keep(folder.path(), "huge.stl", &solid::ball(70.0, 24));
    let balls = format!("{}:8", ball.display());
    let arguments = [
        "pack",
        &balls,
        huge.to_str().unwrap(),
        "--unit",
        "mm",
        "--flask",
        "76x100",
        "--flask",
        "96x120:1",
    ];
    let found = json(&pourday(&arguments));
    let flasks = found["flasks"].as_array().unwrap();
    assert_eq!(flasks.len(), 1);
    assert_eq!(flasks[0]["pieces"].as_array().unwrap().len(), 8);
    // Eight balls of 24 facets around fill a little less than 8 × 4/3 π 5³ mm³.
    let volume = flasks[0]["pieces_mm3"].as_f64().unwrap();
    assert!((4000.0..4189.0).contains(&volume), "{volume}");
    assert!(flasks[0]["sprue_mm3"].as_f64().unwrap() > 500.0);
    assert_eq!(found["left"][0]["file"], "huge.stl");
    assert!(found["left"][0]["why"].as_str().unwrap().contains("needs a flask of at least"));
}

#[test]
fn a_flask_that_is_none_is_refused() {
    assert!(said(&pourday(&["pack", "a.stl", "--flask", "76"])).contains("2 lengths"));
    assert!(said(&pourday(&["pack", "a.stl", "--flask", "76x90:some"])).contains("how many"));
}
