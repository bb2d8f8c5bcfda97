//! `pourday feed`: where a piece freezes last, and whether its sprues feed it until then.

use std::ops::ControlFlow;
use std::str::FromStr;
use std::time::Instant;

use clap::Args;
use foundry::freeze::{
    Conditions, FeedCase, FreezeRefusal, Progress, Sprue, advise, feed, heat_of, over_range,
};
use foundry::mesh::{RepairOptions, repair};

use super::model::ModelArgs;
use super::{CliFault, serve::say};
use crate::json::feed::{FeedJson, OverRangeJson, SprueJson};

#[derive(Args, Debug)]
pub(crate) struct Feed {
    #[command(flatten)]
    model: ModelArgs,
    /// The alloy, such as “silicon bronze” or “sterling silver”
    #[arg(long)]
    alloy: String,
    /// A sprue: place on the surface, diameter and length, all in millimetres; give it once for each
    #[arg(long = "sprue", value_name = "X,Y,Z,DIAMETER,LENGTH", allow_hyphen_values = true)]
    sprues: Vec<SprueArg>,
    /// The edge of a cube of the calculation, in millimetres; smaller is finer and slower
    #[arg(long, value_name = "MM")]
    pitch: Option<f64>,
    /// Temperature of the metal as poured, °C
    #[arg(long, value_name = "CELSIUS")]
    pour: Option<f64>,
    /// Temperature of the flask, °C
    #[arg(long, value_name = "CELSIUS")]
    flask: Option<f64>,
    /// Compute both ends of the heat data's ranges too
    #[arg(long)]
    range: bool,
    /// Do not look for better sprues, which takes many calculations
    #[arg(long)]
    no_advice: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug)]
struct SprueArg(Sprue);

impl FromStr for SprueArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "“{text}” is not a sprue; write five numbers in millimetres: x,y,z,diameter,length"
            )
        };
        let numbers: Vec<f64> = text
            .split(',')
            .map(|number| number.trim().parse().ok().filter(|mm: &f64| mm.is_finite()))
            .collect::<Option<_>>()
            .ok_or_else(wrong)?;
        let [x, y, z, diameter_mm, length_mm] =
            <[f64; 5]>::try_from(numbers).map_err(|_| wrong())?;
        if diameter_mm <= 0.0 || length_mm <= 0.0 {
            return Err("a sprue's diameter and length have to be above 0".to_owned());
        }
        Ok(Self(Sprue { at_mm: [x, y, z], diameter_mm, length_mm, direction: None }))
    }
}

impl Feed {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let not_usable = |why: FreezeRefusal| CliFault::Refused(why.to_string());
        let heat = heat_of(&self.alloy).map_err(not_usable)?;
        let model = self.model.read()?;
        let begun = Instant::now();
        let repaired = repair(&model.in_millimetres()?, &RepairOptions::default());
        for change in &repaired.changes {
            super::warn(&format!("{}: computed on a repaired copy: {change}", model.name));
        }
        let mut conditions = Conditions::usual(heat);
        conditions.pour_c = self.pour.unwrap_or(conditions.pour_c);
        conditions.flask_c = self.flask.unwrap_or(conditions.flask_c);
        let mut case =
            FeedCase::new(repaired.mesh.vertices(), repaired.mesh.triangles(), conditions);
        case.sprues = self.sprues.iter().map(|sprue| sprue.0).collect();
        case.pitch_mm = self.pitch;
        let mut go_on = |_: Progress| ControlFlow::Continue(());
        let answer = feed(&case, &mut go_on).map_err(|why| model.refused(&why))?;
        let mut written = FeedJson::new(&answer);
        if !self.no_advice {
            let found = advise(&case, &answer, &mut go_on).map_err(|why| model.refused(&why))?;
            written.advice = found.advice.iter().map(ToString::to_string).collect();
            written.proposed_sprues = found.sprues.iter().map(SprueJson::from).collect();
        }
        if self.range {
            let range = over_range(&case, &mut go_on).map_err(|why| model.refused(&why))?;
            written.over_range = Some(OverRangeJson::from(range));
        }
        written.wall_seconds = begun.elapsed().as_secs_f64();
        if self.json {
            let text =
                serde_json::to_string_pretty(&written).map_err(|error| model.refused(&error))?;
            say(&text);
        } else {
            say(&text(&model.name, &written));
        }
        Ok(())
    }
}

fn text(name: &str, found: &FeedJson) -> String {
    let place = |[x, y, z]: [f64; 3]| format!("{x:.1}, {y:.1}, {z:.1} mm");
    let mut lines = vec![
        name.to_owned(),
        format!(
            "  freezes last at {}, {:.1} s after filling; solid after {:.1} s",
            place(found.last_to_freeze.at_mm),
            found.last_to_freeze.seconds,
            found.solid_seconds
        ),
        format!("  fed until then: {}", if found.enough { "yes" } else { "no" }),
    ];
    for pocket in &found.pockets {
        lines.push(format!(
            "  cut off at {} after {:.1} s: {:.2} mm³ of metal, voids of {:.2} to {:.2} mm³",
            place(pocket.at_mm),
            pocket.cut_off_seconds,
            pocket.volume_mm3,
            pocket.porosity_mm3.low,
            pocket.porosity_mm3.high
        ));
    }
    if let Some(range) = &found.over_range {
        lines.push(format!(
            "  over the heat data's ranges: solid after {:.1} to {:.1} s, {}",
            range.soonest_seconds,
            range.latest_seconds,
            match (range.enough_at_both, range.short_at_both) {
                (true, _) => "fed throughout",
                (_, true) => "not fed at either end",
                _ => "fed at one end only",
            }
        ));
    }
    lines.extend(found.advice.iter().map(|line| format!("  {line}")));
    lines.extend(found.warnings.iter().map(|line| format!("  {line}")));
    lines.push(format!("  pitch {:.3} mm, {:.1} s", found.pitch_mm, found.wall_seconds));
    lines.join("\n")
}
