//! Measures a model file and writes the result as JSON, for comparing with other programs.
//!
//! `cargo run -p foundry --example measure -- measure --json --unit mm FILE`

use std::io::Write as _;
use std::process::ExitCode;

use foundry::mesh::{Unit, measure, read_from};

fn main() -> ExitCode {
    let mut arguments =
        std::env::args().skip(1).filter(|word| word != "measure" && word != "--json");
    let mut unit = Unit::Millimetre;
    let mut file = None;
    while let Some(word) = arguments.next() {
        if word == "--unit" {
            let known = arguments.next().and_then(|name| Unit::from_name(&name));
            let Some(known) = known else { return told("unknown unit; use mm, cm, in or m") };
            unit = known;
        } else {
            file = Some(word);
        }
    }
    let Some(file) = file else { return told("name a file") };
    let source = std::fs::File::open(&file).and_then(|open| Ok((open.metadata()?.len(), open)));
    let (bytes, source) = match source {
        Ok(opened) => opened,
        Err(error) => return told(&error.to_string()),
    };
    let model = match read_from(source, bytes, &file) {
        Ok(model) => model,
        Err(refusal) => return told(&refusal.to_string()),
    };
    let found = match measure(&model, unit) {
        Ok(found) => found,
        Err(refusal) => return told(&refusal.to_string()),
    };
    let [x, y, z] = found.size.map(|side| side.get());
    let volume = found.volume.map_or("null".to_owned(), |volume| volume.get().to_string());
    let problems: Vec<String> =
        found.problems.iter().map(|problem| format!("\"{}\"", problem.kind.code())).collect();
    let text = format!(
        "{{\"triangles\":{},\"unit\":\"{}\",\"closed\":{},\"volume_mm3\":{volume},\"volume_error_mm3\":{},\
         \"area_mm2\":{},\"box_mm\":[{x},{y},{z}],\"shells\":{},\"euler\":{},\"problems\":[{}]}}\n",
        found.triangles,
        unit.symbol(),
        found.closed,
        found.volume_error.get(),
        found.area.get(),
        found.shell_count,
        found.euler,
        problems.join(",")
    );
    match std::io::stdout().write_all(text.as_bytes()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::FAILURE,
    }
}

fn told(what: &str) -> ExitCode {
    let _ = writeln!(std::io::stderr(), "{what}");
    ExitCode::from(2)
}
