//! Feels the walls of a model, one place on each facet, and writes how long it took, for comparing
//! with other programs.
//!
//! `cargo run --release -p foundry --example walls -- FILE`, the file in millimetres

use std::io::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use foundry::mesh::{ThicknessOptions, Unit, read, thickness};

fn main() -> ExitCode {
    let Some(file) = std::env::args().nth(1) else { return told("name a file") };
    let bytes = match std::fs::read(&file) {
        Ok(bytes) => bytes,
        Err(error) => return told(&error.to_string()),
    };
    let mesh = match read(&bytes, &file).map(|model| model.in_millimetres(Unit::Millimetre)) {
        Ok(Ok(mesh)) => mesh,
        Ok(Err(refusal)) => return told(&refusal.to_string()),
        Err(refusal) => return told(&refusal.to_string()),
    };
    // Each facet is looked at once when as many places are asked for as there are facets, or fewer.
    let places = mesh.triangles().len();
    let begun = Instant::now();
    let found = match thickness(&mesh, &ThicknessOptions { places, ..ThicknessOptions::default() })
    {
        Ok(found) => found,
        Err(refusal) => return told(&refusal.to_string()),
    };
    let seconds = begun.elapsed().as_secs_f64();
    let least = found.thinnest.map_or(f64::NAN, |(mm, _)| mm.get());
    let p01 = found.first_percentile.map_or(f64::NAN, |mm| mm.get());
    let text = format!(
        "{{\"places\":{places},\"seconds\":{seconds},\"min_mm\":{least},\"p01_mm\":{p01}}}\n"
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
