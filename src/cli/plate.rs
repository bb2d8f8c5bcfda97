//! `pourday plate`: which pieces go on which plate, where, and what each run takes.

use std::time::Instant;

use clap::Args;
use foundry::mesh::{Mesh, measure_mesh};
use foundry::pack::{
    Face, PackedPlate, Plate, PlateOptions, ToPrint, Up, judge_plate, pack_plates,
};
use foundry::plate::{LayerTimes, print_run, resin_for_plate};
use foundry::quantity::{CubicMillimetres, Millimetres, Seconds, Share};
use foundry::source::{Source, Sourced};

use super::model::{ModelsArgs, lengths};
use super::{CliFault, serve::say};
use crate::json::plate::{LeftJson, OnPlateJson, PlateJson, PlatesJson};

#[derive(Args, Debug)]
pub(crate) struct PlateCommand {
    #[command(flatten)]
    models: ModelsArgs,
    /// Width, depth and height the printer prints, in millimetres: 120x68x150
    #[arg(long, value_name = "XxYxZ", value_parser = lengths::<3>)]
    plate: [f64; 3],
    /// The plate is a disc; X is its diameter
    #[arg(long)]
    round: bool,
    /// When each file is due, in any whole numbers, least first, in the order of the files: 12,3,3
    #[arg(long, value_delimiter = ',', allow_hyphen_values = true)]
    due: Vec<i64>,
    /// Kept free between pieces, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 2.0)]
    clearance: f64,
    /// Kept free along the edge, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 2.0)]
    edge: f64,
    /// How far supports raise a piece, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 5.0)]
    raised: f64,
    /// Any face of a piece may be below; otherwise pieces stand as they were drawn
    #[arg(long)]
    any_face: bool,
    /// Turns about the vertical that are tried
    #[arg(long, default_value_t = 8)]
    turns: u32,
    /// Moves spent on making room for a piece; more packs closer and takes longer
    #[arg(long, default_value_t = PlateOptions::default().effort)]
    effort: usize,
    /// Height of a layer, in micrometres
    #[arg(long, value_name = "UM", default_value_t = 50.0)]
    layer: f64,
    /// Light for a layer, in seconds
    #[arg(long, value_name = "S", default_value_t = 6.0)]
    exposure: f64,
    /// Layers at the start that get more light
    #[arg(long, default_value_t = 5)]
    bottom_layers: u32,
    /// Light for each of those, in seconds
    #[arg(long, value_name = "S", default_value_t = 40.0)]
    bottom_exposure: f64,
    /// Lifting, returning and waiting for a layer, in seconds
    #[arg(long, value_name = "S", default_value_t = 6.0)]
    lift: f64,
    /// What supports add to the models' volume, in per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 20.0)]
    supports: f64,
    /// What a litre of resin costs
    #[arg(long, value_name = "MONEY")]
    litre_price: Option<f64>,
}

impl PlateCommand {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let begun = Instant::now();
        let refused = |why: &dyn std::fmt::Display| CliFault::Refused(why.to_string());
        let read = self.models.read()?;
        if !self.due.is_empty() && self.due.len() != read.len() {
            return Err(CliFault::Refused(format!(
                "--due names {} dates for {} files; give one for each file",
                self.due.len(),
                read.len()
            )));
        }
        if self.litre_price.is_some_and(|price| !price.is_finite() || price < 0.0) {
            return Err(CliFault::Refused("--litre-price cannot be below 0".to_owned()));
        }
        let meshes: Vec<Mesh> =
            read.iter().map(|(model, _)| model.in_millimetres()).collect::<Result<_, _>>()?;
        let volumes: Vec<Option<CubicMillimetres>> = meshes
            .iter()
            .map(|mesh| measure_mesh(mesh).ok().and_then(|found| found.volume))
            .collect();
        let models: Vec<&Mesh> = meshes.iter().collect();
        let mut pieces = Vec::new();
        let mut copies = Vec::new();
        for (model, (_, count)) in read.iter().enumerate() {
            for copy in 1..=*count {
                pieces.push(ToPrint { model, due: self.due.get(model).copied() });
                copies.push(copy);
            }
        }
        let [width_mm, depth_mm, height_mm] = self.plate;
        let plate = Plate {
            face: if self.round {
                Face::Disc { diameter_mm: width_mm }
            } else {
                Face::Rectangle { width_mm, depth_mm }
            },
            height_mm,
            clearance_mm: self.clearance,
            edge_mm: self.edge,
            raised_mm: self.raised,
        };
        let options = PlateOptions {
            ups: if self.any_face { Up::ALL.to_vec() } else { vec![Up::PlusZ] },
            turns: self.turns,
            effort: self.effort,
            pitch_mm: None,
        };
        let packed =
            pack_plates(&plate, &models, &pieces, &options).map_err(|why| refused(&why))?;
        let name = |piece: usize| read[pieces[piece].model].0.name.clone();
        let mut written = PlatesJson {
            plates: Vec::new(),
            left: packed
                .left
                .iter()
                .map(|(piece, why)| LeftJson {
                    file: name(*piece),
                    copy: copies[*piece],
                    why: why.to_string(),
                })
                .collect(),
            pitch_mm: packed.pitch_mm,
            wall_seconds: 0.0,
        };
        for one in &packed.plates {
            if let Some(fault) = judge_plate(&plate, &models, &pieces, &one.pieces).first() {
                return Err(CliFault::Refused(format!("the packing is wrong: {fault}")));
            }
            let on = one
                .pieces
                .iter()
                .map(|place| OnPlateJson {
                    file: name(place.piece),
                    copy: copies[place.piece],
                    up: place.up.name(),
                    turn_deg: place.turn_deg,
                    x_mm: place.x_mm,
                    y_mm: place.y_mm,
                    size_mm: place.size_mm,
                })
                .collect();
            let volume = one
                .pieces
                .iter()
                .map(|place| volumes[pieces[place.piece].model].map(CubicMillimetres::get))
                .sum::<Option<f64>>();
            written.plates.push(self.reckoned(one, on, volume).map_err(|why| refused(&why))?);
        }
        written.wall_seconds = begun.elapsed().as_secs_f64();
        say(&serde_json::to_string_pretty(&written).map_err(|error| refused(&error))?);
        Ok(())
    }

    /// What a plate takes; the resin is not guessed for open models.
    fn reckoned(
        &self,
        plate: &PackedPlate,
        pieces: Vec<OnPlateJson>,
        models_mm3: Option<f64>,
    ) -> Result<PlateJson, foundry::plate::PrintRefusal> {
        let told = || Source::Entered;
        let times = LayerTimes {
            layer: Millimetres::new(self.layer / 1000.0)?,
            exposure: Seconds::new(self.exposure)?,
            bottom_layers: self.bottom_layers,
            bottom_exposure: Seconds::new(self.bottom_exposure)?,
            transition_layers: 0,
            movement: Seconds::new(self.lift)?,
            source: told(),
        };
        let run = print_run(Millimetres::new(plate.height_mm)?, &times)?.value;
        let supports = Sourced { value: Share::from_percent(self.supports)?, source: told() };
        let left_behind =
            Sourced { value: CubicMillimetres::new(LEFT_BEHIND_MM3)?, source: told() };
        let resin_ml = models_mm3
            .map(|mm3| {
                let models = CubicMillimetres::new(mm3)?;
                let resin = resin_for_plate(models, supports, left_behind)?;
                Ok::<f64, foundry::plate::PrintRefusal>(resin.value.cubic_centimetres())
            })
            .transpose()?;
        let price = self.litre_price.zip(resin_ml).map(|(price, ml)| price * ml / 1000.0);
        Ok(PlateJson {
            pieces,
            height_mm: plate.height_mm,
            covered: plate.covered,
            layers: run.layers,
            minutes: run.duration.get(),
            resin_ml,
            resin_cost: price,
        })
    }
}

/// What stays in the vat's film, on the plate and on the pieces (assumed).
const LEFT_BEHIND_MM3: f64 = 3000.0;
