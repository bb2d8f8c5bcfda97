//! `pourday burnout` and `pourday investment`: numbers that can be checked, and one clear line for
//! bad input.

use std::process::{Command, Output};

use serde_json::Value;

fn pourday(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pourday")).args(words).output().unwrap()
}

fn burnout(programme: &str, more: &[&str]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("programme.json");
    std::fs::write(&file, programme).unwrap();
    let mut words = vec!["burnout", "--programme", file.to_str().unwrap()];
    words.extend(more);
    pourday(&words)
}

fn json(output: &Output) -> Value {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Holds at 300, 700 and 1350 °F, cast at 1000 °F: a usual cycle (common practice, no source).
const USUAL_F: &str = r#"{"start_f": 68, "segments": [
    {"ramp_to_f": 300, "f_per_hour": 300}, {"hold_min": 120},
    {"ramp_to_f": 700, "f_per_hour": 400}, {"hold_min": 120},
    {"ramp_to_f": 1350, "f_per_hour": 400}, {"hold_min": 240},
    {"ramp_to_f": 1000, "f_per_hour": 300}, {"hold_min": 120}]}"#;

#[test]
fn a_usual_cycle_in_fahrenheit_has_its_length_curves_and_thresholds() {
    let found = json(&burnout(USUAL_F, &["--flask", "76x100", "--pattern", "wax", "--json"]));
    // By hand: (232/300 + 400/400 + 650/400 + 350/300) h of ramps and 10 h of holds.
    let by_hand = (232.0 / 300.0 + 1.0 + 1.625 + 350.0 / 300.0 + 10.0) * 60.0;
    assert!((found["total_min"].as_f64().unwrap() - by_hand).abs() < 1e-6);
    let curve = |name: &str| -> Vec<f64> {
        found[name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    let minutes = curve("minutes");
    for name in ["kiln_c", "wall_c", "core_c"] {
        assert_eq!(curve(name).len(), minutes.len(), "{name}");
    }
    assert!((minutes.last().unwrap() - by_hand).abs() < 1e-3);
    assert!((curve("kiln_c").last().unwrap() - 537.778).abs() < 0.01, "1000 °F");
    assert!((curve("core_c").last().unwrap() - 537.8).abs() < 15.0);
    let thresholds = found["thresholds"].as_array().unwrap();
    let passed: Vec<f64> =
        thresholds.iter().filter_map(|threshold| threshold["core_at_min"].as_f64()).collect();
    assert!(thresholds.len() >= 3 && passed.len() == thresholds.len(), "{thresholds:?}");
    for threshold in thresholds {
        assert!(!threshold["name"].as_str().unwrap().is_empty());
        assert!(threshold["wall_at_min"].as_f64() < threshold["core_at_min"].as_f64());
    }
    assert_eq!(found["ready"], true, "{}", found["warnings"]);
}

#[test]
fn the_same_programme_in_celsius_gives_the_same_core() {
    let celsius = r#"{"start_c": 20, "segments": [
        {"ramp_to_c": 150, "k_per_hour": 100}, {"hold_min": 60}, {"ramp_to_c": 700, "minutes": 200}]}"#;
    let fahrenheit = r#"{"start_f": 68, "segments": [
        {"ramp_to_f": 302, "f_per_hour": 180}, {"hold_min": 60}, {"ramp_to_f": 1292, "minutes": 200}]}"#;
    let core =
        |text| json(&burnout(text, &["--flask", "60x80", "--json"]))["core_at_pour_c"].as_f64();
    assert!((core(celsius).unwrap() - core(fahrenheit).unwrap()).abs() < 1e-6);
}

#[test]
fn a_rushed_burnout_is_not_ready_and_says_why() {
    let rushed = r#"{"segments": [{"ramp_to_c": 730, "minutes": 60}, {"hold_min": 30}]}"#;
    let found = json(&burnout(rushed, &["--flask", "120x180", "--cast", "540", "--json"]));
    assert_eq!(found["ready"], false);
    assert!(!found["warnings"].as_array().unwrap().is_empty());
    let text = burnout(rushed, &["--flask", "120x180", "--cast", "540"]);
    assert!(String::from_utf8_lossy(&text.stdout).contains("not ready"));
}

#[test]
fn bad_programmes_and_flasks_fail_with_a_line_that_says_what_to_do() {
    let good = r#"{"segments": [{"ramp_to_c": 700, "minutes": 200}]}"#;
    let cases = [
        (
            r#"{"segments": [{"ramp_to_c": 150, "minutes": -10}]}"#,
            "80x120",
            "time must run forward",
        ),
        (
            r#"{"segments": [{"ramp_to_c": 150, "minutes": 60}, {"hold_min": -5}]}"#,
            "80x120",
            "time must run forward",
        ),
        (r#"{"segments": [{"ramp_to_c": 150, "k_per_hour": 0}]}"#, "80x120", "give a rate above 0"),
        (r#"{"segments": [{"ramp_to_c": 150, "k_per_hour": -60}]}"#, "80x120", "segment 1"),
        (r#"{"segments": [{"ramp_to_c": 2000, "minutes": 600}]}"#, "80x120", "1400 °C"),
        (r#"{"segments": []}"#, "80x120", "no segments"),
        (r#"{"segments": [{"ramp_to_c": 150}]}"#, "80x120", "neither a ramp nor a hold"),
        (r#"{"segments": [{"ramp": 150}]}"#, "80x120", "ramp"),
        ("ramp 150 60", "80x120", "programme.json"),
        (good, "0x120", "above 0 mm"),
        (good, "80x0", "above 0 mm"),
        (good, "80", "80x120"),
        (good, "NaNx80", "above 0 mm"),
        (good, "5000x80", "1000 mm"),
    ];
    for (programme, flask, wanted) in cases {
        let output = burnout(programme, &["--flask", flask, "--json"]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success(), "{programme} {flask}");
        assert!(output.stdout.is_empty(), "{programme} {flask}");
        assert!(said.contains(wanted), "{programme} {flask}: {said}");
    }
    assert!(
        !pourday(&["burnout", "--programme", "/nowhere.json", "--flask", "80x120"])
            .status
            .success()
    );
}

#[test]
fn powder_and_water_follow_from_the_room_beside_the_tree() {
    let mix = |more: &[&str]| {
        let mut words = vec!["investment", "--flask", "80x100", "--ratio", "40", "--json"];
        words.extend(more);
        json(&pourday(&words))
    };
    // By hand: π/4 · 8² · 10 = 502.65 cm³; 1 g of powder (2.5 g/cm³) makes 0.8 cm³ of slurry.
    let plain = mix(&["--allowance", "0"]);
    assert_eq!(plain["powder_g"], 629.0);
    assert!((plain["water_g"].as_f64().unwrap() - 251.6).abs() < 1e-9);
    let by_volume = mix(&["--allowance", "0", "--tree-volume", "40"]);
    let by_mass = mix(&["--allowance", "0", "--tree-mass", "44", "--tree-density", "1.1"]);
    assert_eq!(by_volume["powder_g"], 579.0);
    assert_eq!(by_mass["powder_g"], 579.0);
    assert_eq!(mix(&[])["powder_g"], 660.0, "5 % for the bowl");
    assert!(mix(&[])["warnings"].to_string().contains("silica"));
}

#[test]
fn investment_refuses_what_cannot_be_mixed() {
    let cases: [(&[&str], &str); 6] = [
        (&["--flask", "0x100", "--ratio", "40"], "above 0 mm"),
        (&["--flask", "80x100", "--ratio", "4"], "data sheet"),
        (
            &["--flask", "80x100", "--ratio", "40", "--tree-volume", "600"],
            "check the tree's volume",
        ),
        (&["--flask", "80x100", "--ratio", "40", "--tree-volume", "-1"], "volume"),
        (
            &["--flask", "80x100", "--ratio", "40", "--tree-mass", "9", "--tree-density", "0"],
            "above 0 g/cm³",
        ),
        (&["--flask", "80x100", "--investment", "phosphate"], "no usual ratio"),
    ];
    for (words, wanted) in cases {
        let mut all = vec!["investment"];
        all.extend(words);
        let output = pourday(&all);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success(), "{words:?}");
        assert!(said.contains(wanted), "{words:?}: {said}");
    }
}
