//! `pourday investment`: powder and water for a flask, without a server or a database.

use clap::Args;
use foundry::investment::{
    Binder, FlaskToFill, WaterRatio, gypsum_bonded, phosphate_bonded, powder_and_water,
    slurry_volume,
};
use foundry::quantity::{CubicMillimetres, Millimetres};
use foundry::source::Source;
use foundry::working::Figure;
use serde::Serialize;

use super::{CliFault, serve::say};
use crate::json::working::WorkingJson;
use crate::kilns::FlaskMeasures;

#[derive(Args, Debug)]
#[command(allow_negative_numbers = true)]
pub(crate) struct InvestmentCommand {
    /// Inside diameter and height of the flask in mm, such as 80x120
    #[arg(long, value_name = "DIAMETERxHEIGHT")]
    flask: FlaskMeasures,
    /// Parts of water to 100 of powder; gypsum-bonded powder has a usual one
    #[arg(long)]
    ratio: Option<f64>,
    /// The investment: gypsum or phosphate
    #[arg(long, value_name = "KIND", default_value = "gypsum", value_parser = powder)]
    investment: Binder,
    /// Mass of the tree in g, with --tree-density
    #[arg(long, value_name = "G", requires = "tree_density", conflicts_with = "tree_volume")]
    tree_mass: Option<f64>,
    /// Density of the tree in g/cm³
    #[arg(long, value_name = "G_PER_CM3", requires = "tree_mass")]
    tree_density: Option<f64>,
    /// Volume of the tree in cm³
    #[arg(long, value_name = "CM3")]
    tree_volume: Option<f64>,
    /// Volume of cords or straws for vacuum channels in cm³
    #[arg(long, value_name = "CM3", default_value_t = 0.0)]
    channels: f64,
    /// Slurry standing above the rim in a collar, in mm
    #[arg(long, value_name = "MM", default_value_t = 0.0)]
    above_rim: f64,
    /// Added for what stays in the bowl, in per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 5.0)]
    allowance: f64,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

fn powder(text: &str) -> Result<Binder, String> {
    match crate::kilns::binder(text)? {
        foundry::heat::Binder::Gypsum => Ok(Binder::Gypsum),
        foundry::heat::Binder::Phosphate => Ok(Binder::Phosphate),
    }
}

#[derive(Serialize)]
struct MixJson {
    slurry_cm3: f64,
    powder_g: f64,
    water_g: f64,
    working: WorkingJson,
    warnings: Vec<String>,
}

impl InvestmentCommand {
    fn tree_cm3(&self) -> Result<f64, CliFault> {
        match (self.tree_volume, self.tree_mass, self.tree_density) {
            (Some(volume), _, _) => Ok(volume),
            (None, Some(mass), Some(density)) if density > 0.0 => Ok(mass / density),
            (None, Some(_), Some(_)) => {
                Err(CliFault::Refused("--tree-density has to be above 0 g/cm³".to_owned()))
            }
            _ => Ok(0.0),
        }
    }

    pub(crate) fn run(self) -> Result<(), CliFault> {
        let refused = |why: &dyn std::fmt::Display| CliFault::Refused(why.to_string());
        let cm3 = |value: f64| CubicMillimetres::new(value * 1000.0).map_err(|why| refused(&why));
        let mm = |value: f64| Millimetres::new(value).map_err(|why| refused(&why));
        if !(0.0..=50.0).contains(&self.allowance) {
            return Err(refused(&"--allowance has to be from 0 to 50 per cent"));
        }
        let flask = FlaskToFill {
            name: format!("{} × {} mm", self.flask.diameter_mm, self.flask.height_mm).into(),
            diameter: mm(self.flask.diameter_mm)?,
            height: mm(self.flask.height_mm)?,
            tree: cm3(self.tree_cm3()?)?,
            channels: cm3(self.channels)?,
            above_rim: mm(self.above_rim)?,
        };
        let ratio = self
            .ratio
            .map(|per_100| WaterRatio::new(per_100, self.investment))
            .transpose()
            .map_err(|why| refused(&why))?;
        let powder = match self.investment {
            Binder::Gypsum => gypsum_bonded(),
            Binder::Phosphate => phosphate_bonded(),
        };
        let filled = slurry_volume(&flask).map_err(|why| refused(&why))?;
        let mut working = filled.working;
        let mixed = filled.value.cubic_centimetres() * (1.0 + self.allowance / 100.0);
        let from = if self.allowance == 5.0 { Source::CommonPractice } else { Source::Entered };
        working.step(
            "slurry × (1 + allowance ÷ 100)",
            vec![
                Figure::real("slurry", filled.value.cubic_centimetres(), "cm³", Source::Computed),
                Figure::real("allowance", self.allowance, "%", from),
            ],
            Figure::real("slurry to mix", mixed, "cm³", Source::Computed),
        );
        let weighed = powder_and_water(cm3(mixed)?, &powder, ratio).map_err(|why| refused(&why))?;
        working.follow(weighed.working);
        let (powder_g, water_g) = weighed.value;
        let working = WorkingJson::from(&working);
        let found = MixJson {
            slurry_cm3: mixed,
            powder_g: powder_g.get(),
            water_g: water_g.get(),
            warnings: working.warnings.clone(),
            working,
        };
        if self.json {
            let text = serde_json::to_string_pretty(&found).map_err(|why| refused(&why))?;
            say(&text);
        } else {
            let mut lines = vec![
                format!("  slurry  {:.0} cm³", found.slurry_cm3),
                format!("  powder  {:.0} g", found.powder_g),
                format!("  water   {:.0} g (ml)", found.water_g),
            ];
            lines.extend(found.warnings.iter().map(|warning| format!("  {warning}")));
            say(&lines.join("\n"));
        }
        Ok(())
    }
}
