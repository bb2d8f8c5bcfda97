#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use super::*;

fn small() -> serde_json::Value {
    serde_json::json!({
        "schema": SCHEMA, "id": "two", "horizon_min": 20000,
        "calendar": {"week": {"mon": [[480, 1080]], "tue": [[480, 1080]]}, "closed_days": []},
        "load_min": 15, "pour_min": 12, "alloy_change_min": 25, "max_hold_min": 240,
        "max_pour_span_min": 480, "ramp_limit": 1,
        "clearance": {"flask_mm": 10, "wall_mm": 15, "top_mm": 20},
        "kilns": [{"id": "K1", "width_mm": 320, "depth_mm": 300, "height_mm": 230,
            "cool_min_per_100c": 50, "turnaround_min": 75, "available_min": 0}],
        "families": [{"id": "wax", "programmes": {"S": {"segments": [["ramp", 60], ["hold", 90]]}}}],
        "incompatible": [],
        "flasks": [{"id": "F1", "diameter_mm": 64, "height_mm": 60, "size_class": "S",
            "family": "wax", "ready_min": 480, "cast_temp_c": 560, "alloy": "bronze",
            "lead_min": 360, "due_min": 8880, "weight": 2}]
    })
}

#[test]
fn a_problem_is_read_with_every_key_in_its_place() {
    let read = read_problem(&small().to_string()).unwrap();
    assert_eq!(read.ignored, Vec::<String>::new());
    let problem = read.problem;
    assert_eq!(problem.flasks[0].latest_start_min, None);
    assert_eq!(problem.calendar.week[0][0].to_min, 1080);
    assert_eq!(problem.calendar.week[2], []);
    assert_eq!(problem.families[0].programmes[0].programme.minutes(), 150);
    assert_eq!(problem.decisions, foundry::plan::Decisions::default());
}

#[test]
fn a_wrong_value_is_refused_with_its_key() {
    for (pointer, value, place) in [
        ("/flasks/0/ready_min", serde_json::json!("soon"), "flasks[0].ready_min"),
        ("/flasks/0/ready_min", serde_json::json!(7.5), "flasks[0].ready_min"),
        ("/kilns/0/width_mm", serde_json::json!(null), "kilns[0].width_mm"),
        ("/families/0/programmes/S/segments/0/0", serde_json::json!("soak"), "segments[0][0]"),
        ("/calendar/week/mon/0", serde_json::json!([1]), "calendar.week.mon[0]"),
    ] {
        let mut json = small();
        *json.pointer_mut(pointer).unwrap() = value;
        let refusal = read_problem(&json.to_string()).unwrap_err().to_string();
        assert!(refusal.contains(place), "{refusal}");
    }
}

#[test]
fn a_missing_key_is_named() {
    let mut json = small();
    json["flasks"][0].as_object_mut().unwrap().remove("due_min");
    let refusal = read_problem(&json.to_string()).unwrap_err().to_string();
    assert!(refusal.contains("flasks[0]") && refusal.contains("due_min"), "{refusal}");
}

#[test]
fn a_key_that_means_nothing_is_reported() {
    let mut json = small();
    json["flasks"][0]["latest_strat_min"] = serde_json::json!(900);
    let read = read_problem(&json.to_string()).unwrap();
    assert_eq!(read.ignored, ["flasks.0.latest_strat_min"]);
}

#[test]
fn another_schema_and_faults_are_refused() {
    let mut json = small();
    json["schema"] = serde_json::json!("kiln-plan-instance/2");
    assert!(matches!(read_problem(&json.to_string()), Err(PlanJsonRefusal::Schema(_))));
    let mut json = small();
    json["flasks"][0]["family"] = serde_json::json!("clay");
    let refusal = read_problem(&json.to_string()).unwrap_err().to_string();
    assert!(refusal.contains("F1") && refusal.contains("clay"), "{refusal}");
    assert!(read_problem("{").is_err());
    assert!(read_problem(&(small().to_string() + "x")).is_err());
}

#[test]
fn what_kilns_take_longer_is_read_and_planned_with() {
    let mut json = small();
    json["decisions"] = serde_json::json!({
        "longer": [{"kiln": "K1", "family": "wax", "size_class": "S", "minutes": 40}]
    });
    let problem = read_problem(&json.to_string()).unwrap().problem;
    assert_eq!(problem.longer_min("K1", "wax", "S"), 40);
    let made = foundry::plan::solve(&problem, &foundry::plan::Options::default(), &mut |_| {
        foundry::plan::Control::Stop
    })
    .unwrap();
    // Loaded at 480: 15 minutes to load, 150 of programme, 40 more.
    assert_eq!(made.pours[0].start_min, 685);
    json["decisions"]["longer"][0]["minutes"] = serde_json::json!(-1);
    let refusal = read_problem(&json.to_string()).unwrap_err().to_string();
    assert!(
        refusal.contains("what kiln K1 takes longer for family wax, size class S"),
        "{refusal}"
    );
}

#[test]
fn a_plan_reads_back_as_it_was_written() {
    let problem = read_problem(&small().to_string()).unwrap().problem;
    let options = foundry::plan::Options { most_steps: Some(100), ..Default::default() };
    let mut go = |_: &foundry::plan::Progress| foundry::plan::Control::Go { used: 0.0 };
    let plan = foundry::plan::solve(&problem, &options, &mut go).unwrap();
    let text = serde_json::to_string(&write_plan(&plan, 0.5)).unwrap();
    assert_eq!(read_plan(&text).unwrap(), plan);
    assert_eq!(foundry::plan::judge::check(&problem, &plan), []);
}

#[test]
fn decisions_are_read() {
    let mut json = small();
    json["decisions"] = serde_json::json!({
        "not_before_min": 400,
        "pins": [{"flask": "F1", "kiln": "K1", "start_min": 500}, {"flask": "F1", "with": "F1"}],
        "out_of_use": [{"kiln": "K1", "from_min": 9000, "to_min": 9100}],
        "bans": [{"kiln": "K1", "until_min": 480}],
        "stability": {"accepted": [], "minutes_per_move": 30}
    });
    let problem = read_problem(&json.to_string()).unwrap().problem;
    assert_eq!(problem.decisions.pins.len(), 2);
    assert_eq!(problem.decisions.not_before_min, 400);
    json["decisions"]["pins"][0] = serde_json::json!({"flask": "F1", "kiln": "K1"});
    let refusal = read_problem(&json.to_string()).unwrap_err().to_string();
    assert!(refusal.contains("decisions.pins[0]"), "{refusal}");
}
