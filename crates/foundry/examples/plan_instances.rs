//! Writes the planning problems of the tests as `kiln-plan-instance/1`, one a
//! line, for another program to solve:
//! `plan_instances SEED FLASKS KILNS [SEED FLASKS KILNS ...]`; with the word `decided` before them
//! with decisions, with the word `slow` with kilns that cannot follow their programmes.

#![allow(clippy::print_stdout, reason = "writing is what this program is for")]

#[path = "../tests/plan_support/mod.rs"]
mod plan_support;

use foundry::plan::{Decisions, Flask, Kiln, Pin, Problem, SegmentKind, Staffed};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let made = match words.first().map(String::as_str) {
        Some("decided") => plan_support::decided,
        Some("slow") => plan_support::slow,
        _ => plan_support::problem,
    };
    let numbers: Vec<u64> = words.iter().filter_map(|argument| argument.parse().ok()).collect();
    for three in numbers.chunks_exact(3) {
        println!("{}", written(&made(three[0], three[1] as usize, three[2] as usize)));
    }
}

fn list<T>(of: &[T], write: impl Fn(&T) -> String) -> String {
    format!("[{}]", of.iter().map(write).collect::<Vec<_>>().join(","))
}

fn written(problem: &Problem) -> String {
    let days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
    let hours = |open: &Staffed| format!("[{},{}]", open.from_min, open.to_min);
    let week: Vec<String> = days
        .iter()
        .zip(&problem.calendar.week)
        .map(|(day, open)| format!("{day:?}:{}", list(open, hours)))
        .collect();
    let families = list(&problem.families, |family| {
        let programmes: Vec<String> = family
            .programmes
            .iter()
            .map(|one| {
                let segments = list(&one.programme.segments, |segment| {
                    let kind = if segment.kind == SegmentKind::Ramp { "ramp" } else { "hold" };
                    format!("[{kind:?},{}]", segment.minutes)
                });
                format!("{:?}:{{\"segments\":{segments}}}", one.size_class)
            })
            .collect();
        format!("{{\"id\":{:?},\"programmes\":{{{}}}}}", family.id, programmes.join(","))
    });
    let numbers = [
        ("horizon_min", problem.horizon_min),
        ("load_min", problem.load_min),
        ("pour_min", problem.pour_min),
        ("alloy_change_min", problem.alloy_change_min),
        ("max_hold_min", problem.max_hold_min),
        ("max_pour_span_min", problem.max_pour_span_min),
        ("ramp_limit", problem.ramp_limit),
    ];
    let numbers: Vec<String> =
        numbers.iter().map(|(key, value)| format!("{key:?}:{value}")).collect();
    let clearance = &problem.clearance;
    format!(
        "{{\"schema\":\"kiln-plan-instance/1\",\"id\":{:?},{},\"calendar\":{{\"week\":{{{}}},\"closed_days\":{}}},\"clearance\":{{\"flask_mm\":{},\"wall_mm\":{},\"top_mm\":{}}},\"kilns\":{},\"families\":{families},\"incompatible\":{},\"flasks\":{},\"decisions\":{}}}",
        problem.id,
        numbers.join(","),
        week.join(","),
        list(&problem.calendar.closed_days, i64::to_string),
        clearance.flask_mm,
        clearance.wall_mm,
        clearance.top_mm,
        list(&problem.kilns, kiln),
        list(&problem.incompatible, |[a, b]| format!("[{a:?},{b:?}]")),
        list(&problem.flasks, flask),
        decisions(&problem.decisions),
    )
}

fn decisions(of: &Decisions) -> String {
    let mut keys = vec![
        format!("\"not_before_min\":{}", of.not_before_min),
        format!(
            "\"pins\":{}",
            list(&of.pins, |pin| match pin {
                Pin::Load { flask, kiln, start_min } => place(flask, kiln, *start_min),
                Pin::Together { flask, with } =>
                    format!("{{\"flask\":{flask:?},\"with\":{with:?}}}"),
            })
        ),
        format!(
            "\"out_of_use\":{}",
            list(&of.out_of_use, |out| format!(
                "{{\"kiln\":{:?},\"from_min\":{},\"to_min\":{}}}",
                out.kiln, out.from_min, out.to_min
            ))
        ),
        format!(
            "\"bans\":{}",
            list(&of.bans, |ban| format!(
                "{{{}\"kiln\":{:?}{}}}",
                ban.flask.as_ref().map_or(String::new(), |flask| format!("\"flask\":{flask:?},")),
                ban.kiln,
                ban.until_min.map_or(String::new(), |until| format!(",\"until_min\":{until}"))
            ))
        ),
        format!(
            "\"dear_hours\":{}",
            list(&of.dear_hours, |dear| format!(
                "{{\"from_min\":{},\"to_min\":{},\"minutes_per_hour\":{}}}",
                dear.from_min, dear.to_min, dear.minutes_per_hour
            ))
        ),
        format!(
            "\"rewet\":{}",
            list(&of.rewet, |one| format!(
                "{{\"flask\":{:?},\"until_min\":{},\"minutes\":{}}}",
                one.flask, one.until_min, one.minutes
            ))
        ),
    ];
    if !of.longer.is_empty() {
        let longer = list(&of.longer, |one| {
            format!(
                "{{\"kiln\":{:?},\"family\":{:?},\"size_class\":{:?},\"minutes\":{}}}",
                one.kiln, one.family, one.size_class, one.minutes
            )
        });
        keys.push(format!("\"longer\":{longer}"));
    }
    if let Some(stability) = &of.stability {
        let accepted = list(&stability.accepted, |one| place(&one.flask, &one.kiln, one.start_min));
        keys.push(format!(
            "\"stability\":{{\"accepted\":{accepted},\"minutes_per_move\":{}}}",
            stability.minutes_per_move
        ));
    }
    format!("{{{}}}", keys.join(","))
}

fn place(flask: &str, kiln: &str, start_min: i64) -> String {
    format!("{{\"flask\":{flask:?},\"kiln\":{kiln:?},\"start_min\":{start_min}}}")
}

fn kiln(kiln: &Kiln) -> String {
    format!(
        "{{\"id\":{:?},\"width_mm\":{},\"depth_mm\":{},\"height_mm\":{},\"cool_min_per_100c\":{},\"turnaround_min\":{},\"available_min\":{}}}",
        kiln.id,
        kiln.width_mm,
        kiln.depth_mm,
        kiln.height_mm,
        kiln.cool_min_per_100c,
        kiln.turnaround_min,
        kiln.available_min,
    )
}

fn flask(flask: &Flask) -> String {
    let latest = flask
        .latest_start_min
        .map_or(String::new(), |latest| format!("\"latest_start_min\":{latest},"));
    format!(
        "{{\"id\":{:?},\"diameter_mm\":{},\"height_mm\":{},\"size_class\":{:?},\"family\":{:?},\"ready_min\":{},{latest}\"cast_temp_c\":{},\"alloy\":{:?},\"lead_min\":{},\"due_min\":{},\"weight\":{}}}",
        flask.id,
        flask.diameter_mm,
        flask.height_mm,
        flask.size_class,
        flask.family,
        flask.ready_min,
        flask.cast_temp_c,
        flask.alloy,
        flask.lead_min,
        flask.due_min,
        flask.weight,
    )
}
