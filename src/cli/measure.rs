//! `pourday measure`: a model's volume, area, box, walls, bore and faults, without a server or a database.

use clap::Args;
use foundry::mesh;
use foundry::quantity::Millimetres;

use super::model::ModelArgs;
use super::{CliFault, serve::say};
use crate::json::examined::ExaminedJson;
use crate::json::measure::MeasureJson;

#[derive(Args, Debug)]
pub(crate) struct Measure {
    #[command(flatten)]
    model: ModelArgs,
    /// Walls thinner than this count as thin, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 0.8)]
    limit: f64,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

impl Measure {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let limit = Millimetres::new(self.limit)
            .ok()
            .filter(|limit| limit.get() > 0.0)
            .ok_or_else(|| CliFault::Refused("--limit has to be above 0 mm".to_owned()))?;
        let model = self.model.read()?;
        let mesh = model.in_millimetres()?;
        let measure = mesh::measure_mesh(&mesh).map_err(|why| model.refused(&why))?;
        let mut written =
            MeasureJson::new(&model.name, model.unit, model.certain, &model.reason, &measure);
        written.examined = Some(ExaminedJson::of(&mesh, limit));
        if self.json {
            let text =
                serde_json::to_string_pretty(&written).map_err(|error| model.refused(&error))?;
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
    if let Some(examined) = &found.examined {
        lines.extend(examined_lines(examined));
    }
    for problem in &found.problems {
        lines.push(format!(
            "  {} ({} ×, {}): {} {}",
            problem.code, problem.count, problem.gravity, problem.meaning, problem.remedy
        ));
    }
    lines.join("\n")
}

fn examined_lines(examined: &ExaminedJson) -> Vec<String> {
    let mut lines = Vec::new();
    match (&examined.thickness, &examined.thickness_refused) {
        (Some(walls), _) => match (walls.min_mm, walls.p01_mm) {
            (Some(least), Some(p01)) => lines.push(format!(
                "  walls      {least:.3} mm at the thinnest, {p01:.3} mm at one hundredth; {:.3} mm² below {} mm",
                walls.area_below_mm2, walls.limit_mm
            )),
            _ => lines.push("  walls      none: nothing lies opposite anything".to_owned()),
        },
        (None, why) => {
            lines.push(format!("  walls      {}", why.as_deref().unwrap_or("not measured")));
        }
    }
    if let Some(bore) = &examined.bore {
        lines.push(format!(
            "  bore       {:.3} mm, {:.3} mm out of round",
            bore.diameter_mm, bore.out_of_round_mm
        ));
        if !bore.is_closed() {
            let percent = bore.coverage * 100.0;
            lines.push(format!("             open: wall for {percent:.0} % of the way around"));
        }
        for (scale, size) in bore.ring_sizes.named() {
            let ring = if bore.is_closed() { "" } else { " if it is a cut ring" };
            lines.push(format!("             {scale} {size}{ring}"));
        }
    }
    for repair in &examined.repairs {
        lines.push(format!("  a safe repair would do this: {repair}"));
    }
    lines
}
