//! `pourday size`: ring sizes on all scales, and the bore to draw for a wanted one.

use clap::Args;
use foundry::metal::{Alloy, alloys};
use foundry::quantity::{Millimetres, Share};
use foundry::size::{Changes, Feature, RingScale, RingSize, model_size};
use foundry::source::Sourced;
use foundry::working::Working;
use serde::Serialize;

use super::{CliFault, serve::say};
use crate::json::examined::RingSizesJson;
use crate::json::working::WorkingJson;

#[derive(Args, Debug)]
#[command(group = clap::ArgGroup::new("wanted").required(true))]
pub(crate) struct Size {
    /// The inside diameter of the finished ring, in millimetres
    #[arg(long, value_name = "MM", group = "wanted")]
    inside_diameter: Option<f64>,
    /// The size of the finished ring, such as “US 7 1/2”, “UK N” or “ISO 54”
    #[arg(long, group = "wanted")]
    size: Option<String>,
    /// The alloy, whose usual contraction is allowed for
    #[arg(long)]
    alloy: Option<String>,
    /// Contraction of the casting instead of the alloy's usual one, in per cent
    #[arg(long, value_name = "PERCENT", conflicts_with = "alloy")]
    contraction: Option<f64>,
    /// Contraction in print and cure that the printer does not make up for, in per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0)]
    print_contraction: f64,
    /// What finishing adds to the diameter of the bore: twice its depth, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 0.0)]
    finishing: f64,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct SizeJson {
    inside_diameter_mm: f64,
    inside_circumference_mm: f64,
    sizes: RingSizesJson,
    bore_to_draw_mm: f64,
    bore_to_draw_least_mm: f64,
    bore_to_draw_greatest_mm: f64,
    contraction_percent: [f64; 2],
    contraction_source: String,
    working: WorkingJson,
}

impl Size {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let found = self.find().map_err(CliFault::Refused)?;
        if self.json {
            let text = serde_json::to_string_pretty(&found)
                .map_err(|error| CliFault::Refused(error.to_string()))?;
            say(&text);
        } else {
            say(&text(&found));
        }
        Ok(())
    }

    fn find(&self) -> Result<SizeJson, String> {
        let (inside, mut working) = self.inside()?;
        let contraction = self.contraction()?;
        let (least, greatest, source) = contraction;
        let middle = Share::new((least.get() + greatest.get()) / 2.0).map_err(|e| e.to_string())?;
        let finishing = Millimetres::new(self.finishing).map_err(|why| why.to_string())?;
        let pattern = Share::from_percent(self.print_contraction)
            .map_err(|why| format!("--print-contraction: {why}"))?;
        let draw = |share: Share| {
            let changes = Changes {
                feature: Feature::Bore,
                pattern: Sourced::entered(pattern),
                casting: Sourced { value: share, source: source.clone() },
                finishing: Sourced::entered(finishing),
            };
            model_size(inside, &changes).map_err(|why| why.to_string())
        };
        let drawn = draw(middle)?;
        let (low, high) = (draw(least)?.value, draw(greatest)?.value);
        working.follow(drawn.working);
        Ok(SizeJson {
            inside_diameter_mm: inside.get(),
            inside_circumference_mm: inside.get() * std::f64::consts::PI,
            sizes: RingSizesJson::nearest(inside),
            bore_to_draw_mm: drawn.value.get(),
            bore_to_draw_least_mm: low.get(),
            bore_to_draw_greatest_mm: high.get(),
            contraction_percent: [least.percent(), greatest.percent()],
            contraction_source: source.to_string(),
            working: WorkingJson::from(&working),
        })
    }

    /// The finished inside diameter.
    fn inside(&self) -> Result<(Millimetres, Working), String> {
        if let Some(text) = &self.size {
            let size = ring_size(text)?.inside_diameter();
            return Ok((size.value, size.working));
        }
        let given = self.inside_diameter.unwrap_or_default();
        let inside = Millimetres::new(given)
            .ok()
            .filter(|inside| inside.get() > 0.0)
            .ok_or("--inside-diameter has to be above 0 mm")?;
        Ok((inside, Working::default()))
    }

    /// The least and greatest contraction of the casting.
    fn contraction(&self) -> Result<(Share, Share, foundry::source::Source), String> {
        use foundry::source::Source;
        if let Some(percent) = self.contraction {
            let share =
                Share::from_percent(percent).map_err(|why| format!("--contraction: {why}"))?;
            return Ok((share, share, Source::Entered));
        }
        let Some(name) = &self.alloy else {
            return Ok((Share::NONE, Share::NONE, Source::Entered));
        };
        let alloy = alloy(name)?;
        let contraction = alloy.contraction.ok_or_else(|| {
            format!(
                "no contraction is known for {}; measure it and give it with --contraction",
                alloy.name
            )
        })?;
        Ok((contraction.value.least, contraction.value.greatest, contraction.source))
    }
}

/// A size written with its scale in front.
fn ring_size(text: &str) -> Result<RingSize, String> {
    let text = text.trim();
    let cut = text.find(|c: char| !c.is_alphabetic()).unwrap_or(text.len());
    let (scale, size) = text.split_at(cut);
    let scale = match scale.to_uppercase().as_str() {
        "US" => RingScale::UnitedStates,
        "UK" => RingScale::UnitedKingdom,
        "ISO" | "EU" => RingScale::Iso8653,
        _ => {
            return Err(format!(
                "“{text}” names no scale; write the scale before the size: “US 7 1/2”, “UK N” or “ISO 54”"
            ));
        }
    };
    let size = size.trim();
    let size =
        if scale == RingScale::Iso8653 { size.strip_prefix("8653").unwrap_or(size) } else { size };
    RingSize::parse(scale, size.trim()).map_err(|why| why.to_string())
}

fn alloy(name: &str) -> Result<Alloy, String> {
    let plain = |text: &str| text.to_lowercase().replace(['-', '_'], " ");
    let wanted = plain(name);
    let known = alloys();
    let found = known
        .iter()
        .find(|alloy| plain(&alloy.key) == wanted || plain(&alloy.name) == wanted)
        .cloned();
    found.ok_or_else(|| {
        let names: Vec<_> = known.iter().map(|alloy| alloy.name.as_ref()).collect();
        format!("“{name}” is not an alloy known here; known are: {}", names.join(", "))
    })
}

fn text(found: &SizeJson) -> String {
    let mut lines = vec![format!(
        "inside diameter  {:.2} mm (circumference {:.2} mm)",
        found.inside_diameter_mm, found.inside_circumference_mm
    )];
    for (scale, size) in found.sizes.named() {
        lines.push(format!("{scale:<16} {size}"));
    }
    lines.push(format!(
        "bore to draw     {:.3} mm ({:.3} to {:.3} mm)",
        found.bore_to_draw_mm, found.bore_to_draw_least_mm, found.bore_to_draw_greatest_mm
    ));
    lines.extend(found.working.warnings.iter().cloned());
    lines.join("\n")
}
