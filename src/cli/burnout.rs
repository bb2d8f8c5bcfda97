//! `pourday burnout`: the temperatures inside a flask, without a server or a database.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use foundry::heat::{Binder, Grid, Kiln, Limits, PatternFamily, check, judge, simulate};
use foundry::quantity::Celsius;

use super::{CliFault, serve::say};
use crate::json::burnout::{BurnoutJson, read_programme};
use crate::kilns::{FlaskMeasures, Mould, binder};

/// The form of a programme, as shown by `--help`.
const FORM: &str = r#"The programme is a JSON file of ramps and holds, each in °C or °F:
  {"start_c": 20, "segments": [
    {"ramp_to_c": 150, "k_per_hour": 150}, {"hold_min": 120},
    {"ramp_to_f": 1350, "f_per_hour": 400}, {"hold_min": 180},
    {"ramp_to_c": 520, "minutes": 90}, {"hold_min": 60}]}"#;

#[derive(Args, Debug)]
#[command(after_help = FORM, allow_negative_numbers = true)]
pub(crate) struct BurnoutCommand {
    /// The programme, a JSON file of ramps and holds
    #[arg(long)]
    programme: PathBuf,
    /// Inside diameter and height of the flask in mm, such as 80x120
    #[arg(long, value_name = "DIAMETERxHEIGHT")]
    flask: FlaskMeasures,
    /// Thickness of the steel in mm
    #[arg(long, value_name = "MM", default_value_t = 1.6)]
    wall: f64,
    /// The investment: gypsum or phosphate
    #[arg(long, value_name = "KIND", default_value = "gypsum", value_parser = binder)]
    investment: Binder,
    /// Parts of water to 100 of powder
    #[arg(long, default_value_t = 40.0)]
    water: f64,
    /// What burns out
    #[arg(long, value_enum, default_value_t = Pattern::Resin)]
    pattern: Pattern,
    /// The temperature to cast at in °C; otherwise the programme's end
    #[arg(long, value_name = "C")]
    cast: Option<f64>,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Pattern {
    Wax,
    Resin,
}

impl BurnoutCommand {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let refused = |why: String| CliFault::Refused(why);
        let file = self.programme.display().to_string();
        let text = std::fs::read_to_string(&self.programme)
            .map_err(|error| refused(format!("{file}: {error}")))?;
        let programme = read_programme(&text).map_err(|why| refused(format!("{file}: {why}")))?;
        let mould = Mould {
            inside_mm: self.flask.diameter_mm,
            height_mm: self.flask.height_mm,
            wall_mm: self.wall,
            binder: self.investment,
            water_per_100: self.water,
        };
        let (body, working) = mould.body().map_err(|why| refused(why.to_string()))?;
        let cast = match self.cast {
            Some(cast) => Celsius::new(cast).map_err(|why| refused(format!("--cast: {why}")))?,
            None => programme.end(),
        };
        let pattern = match self.pattern {
            Pattern::Wax => PatternFamily::Wax,
            Pattern::Resin => PatternFamily::CastableResin,
        };
        let limits = Limits::usual(self.investment, pattern);
        let on_paper = check(&programme, &limits, &body, &Kiln::Ideal);
        let burnout = simulate(&body, &programme, &Kiln::Ideal, &Grid::default())
            .map_err(|why| refused(why.to_string()))?;
        let verdict = judge(&burnout, cast, &limits);
        let mut written = BurnoutJson::new(&burnout, &verdict, &on_paper, cast);
        written.warnings.extend(working.warnings.iter().map(ToString::to_string));
        if self.json {
            let text =
                serde_json::to_string(&written).map_err(|error| refused(error.to_string()))?;
            say(&text);
        } else {
            say(&words(&written));
        }
        Ok(())
    }
}

fn words(found: &BurnoutJson) -> String {
    let hours = |minutes: f64| {
        let minutes = minutes.round();
        format!("{} h {:02} min", (minutes / 60.0).floor(), minutes % 60.0)
    };
    let mut lines = vec![
        format!("  length     {}", hours(found.total_min)),
        format!(
            "  verdict    {} to be cast at {:.0} °C",
            if found.ready { "ready" } else { "not ready" },
            found.cast_c
        ),
        format!(
            "  at pour    core {:.0} °C, {:.0} K from the wall",
            found.core_at_pour_c, found.difference_at_pour_k
        ),
        format!("  burn-off   core above it for {}", hours(found.core_above_burn_off_min)),
    ];
    for threshold in &found.thresholds {
        let when = threshold
            .core_at_min
            .map_or_else(|| "never".to_owned(), |at| format!("after {}", hours(at)));
        lines.push(format!("  {:.0} °C, {}: the core {when}", threshold.celsius, threshold.name));
    }
    lines.extend(found.warnings.iter().map(|warning| format!("  {warning}")));
    lines.join("\n")
}
