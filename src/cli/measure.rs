//! `pourday measure`: a model's volume, area, box and faults, without a server or a database.

use std::path::PathBuf;

use clap::Args;
use foundry::mesh::{self, Certainty, Limits, Unit};

use super::{CliFault, serve::say};
use crate::json::measure::MeasureJson;

#[derive(Args, Debug)]
pub(crate) struct Measure {
    /// The model: STL, OBJ, 3MF or PLY
    file: PathBuf,
    /// The unit of its numbers: mm, cm, m, inch, foot or micron; otherwise what the file says, or what its size suggests
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

fn unit(text: &str) -> Result<Unit, String> {
    Unit::from_name(text).ok_or_else(|| {
        format!("“{text}” is not a unit known here; use mm, cm, m, inch, foot or micron")
    })
}

impl Measure {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let name = self.file.file_name().unwrap_or(self.file.as_os_str());
        let name = name.to_string_lossy().into_owned();
        let refused = |why: String| CliFault::Refused(format!("{name}: {why}"));
        let size = std::fs::metadata(&self.file).map_err(|error| refused(error.to_string()))?.len();
        let limit = Limits::default().file_bytes;
        if usize::try_from(size).is_ok_and(|bytes| bytes > limit) {
            let bytes = usize::try_from(size).unwrap_or(usize::MAX);
            let why = mesh::ReadRefusal::FileTooLarge { bytes, limit };
            return Err(refused(why.to_string()));
        }
        let bytes = std::fs::read(&self.file).map_err(|error| refused(error.to_string()))?;
        let model = mesh::read(&bytes, &name).map_err(|why| refused(why.to_string()))?;
        drop(bytes);
        let guess = mesh::guess_unit(&model);
        let (unit, certain, reason) = match (self.unit, guess.certainty) {
            (Some(told), _) => (told, true, "As told.".to_owned()),
            (None, Certainty::Stated | Certainty::Sure) => {
                (guess.unit, true, guess.reason.into_owned())
            }
            // Nobody can be asked here: what the file says, or the usual unit, and the doubt with it.
            (None, Certainty::Ask) => {
                let unit = model.unit.unwrap_or(Unit::Millimetre);
                let reason = format!("{} Taken as {unit}; say --unit to be sure.", guess.reason);
                (unit, false, reason)
            }
        };
        if !certain {
            super::warn(&format!("{name}: {reason}"));
        }
        let measure = mesh::measure(&model, unit).map_err(|why| refused(why.to_string()))?;
        let written = MeasureJson::new(&name, unit, certain, &reason, &measure);
        if self.json {
            let text = serde_json::to_string_pretty(&written)
                .map_err(|error| refused(error.to_string()))?;
            say(&text);
        } else {
            say(&text(&written));
        }
        Ok(())
    }
}

fn text(found: &MeasureJson) -> String {
    let [x, y, z] = found.box_mm;
    let volume = found.volume_mm3.map_or_else(
        || "none: the surface is open, so nothing is inside".to_owned(),
        |mm3| format!("{mm3:.3} mm³"),
    );
    let mut lines = vec![
        found.file.clone(),
        format!("  triangles  {}", found.triangles),
        format!("  unit       {} ({})", found.unit, found.unit_reason),
        format!("  box        {x:.3} × {y:.3} × {z:.3} mm"),
        format!("  area       {:.3} mm²", found.area_mm2),
        format!("  volume     {volume}"),
        format!("  shells     {}", found.shells),
        format!("  closed     {}", if found.closed { "yes" } else { "no" }),
    ];
    for problem in &found.problems {
        lines.push(format!(
            "  {} ({} ×, {}): {} {}",
            problem.code, problem.count, problem.gravity, problem.meaning, problem.remedy
        ));
    }
    lines.join("\n")
}
