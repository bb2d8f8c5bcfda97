//! How a plate stands, how pieces are set on it, and what it takes. No SQL, no clock.

use std::collections::HashMap;

use foundry::mesh::Mesh;
use foundry::pack::{
    Face, Plate, PlateOptions, ToPrint, Up, judge_plate, outline_on_plate, pack_plates,
};
use foundry::plate::{LayerTimes, PrintRun, print_run, resin_for_plate};
use foundry::quantity::{CubicMillimetres, Millimetres, Seconds, Share};
use foundry::source::{Source, Sourced};
use foundry::working::Worked;

use crate::clock::Day;
use crate::designs::Shape;
use crate::id::{AttemptId, DesignVersionId};
use crate::web::Refused;

/// How a plate stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum PlateState {
    Open,
    Printing,
    Done,
    Cancelled,
}

impl PlateState {
    /// Where it stands, as the end of a sentence that begins with its number.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Open => "is being laid out",
            Self::Printing => "is printing",
            Self::Done => "is done",
            Self::Cancelled => "is cancelled",
        }
    }

    /// The word in lists.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Open => "laid out",
            Self::Printing => "printing",
            Self::Done => "done",
            Self::Cancelled => "cancelled",
        }
    }
}

/// Kept free between two pieces and along the edge, for support feet and the scraper.
pub(super) const CLEARANCE_MM: f64 = 2.0;

/// How far supports raise a piece above the plate.
pub(super) const RAISED_MM: f64 = 5.0;

/// What stays in the vat's film, on the plate and on the pieces.
const LEFT_BEHIND_ML: f64 = 3.0;

/// Supports to choose from, with what they add to the models' volume in per cent.
pub(super) const SUPPORTS: [(&str, &str, f64); 3] = [
    ("light", "Light: 10 % more resin", 10.0),
    ("medium", "Medium: 20 % more resin", 20.0),
    ("heavy", "Heavy: 35 % more resin", 35.0),
];

/// How pieces lie, in the trade's words.
pub(super) const ORIENTATIONS: [&str; 5] = ["as drawn", "flat", "tilted", "upright", "mixed"];

/// Where a print goes wrong, to choose from.
pub(super) const PLACES: [&str; 6] = [
    "at first contact",
    "where an overhang starts",
    "between two layers",
    "at a thin part",
    "at the supports",
    "everywhere",
];

/// A printer and how it is set for a plate.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Setting {
    pub(super) width_mm: f64,
    pub(super) depth_mm: f64,
    pub(super) height_mm: f64,
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_s: f64,
    pub(super) supports: String,
    /// Whether any side of a piece may be below.
    pub(super) any_side: bool,
}

/// A piece that is to stand on a plate, or stands on it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Model {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) version: DesignVersionId,
    pub(super) due_on: Option<Day>,
    /// As it stands, or as it was drawn while it stands nowhere.
    pub(super) height_mm: f64,
    pub(super) volume_mm3: Option<f64>,
}

/// Where a piece stands on a plate: the corner of the box round it, how it is tipped and turned,
/// and its outline from that corner.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) up: &'static str,
    pub(super) turn_deg: f64,
    pub(super) size_mm: [f64; 3],
    pub(super) outline: Vec<Vec<[f64; 2]>>,
}

/// One plate of a proposal.
#[derive(Clone, Debug)]
pub(super) struct ProposedPlate {
    pub(super) places: Vec<Place>,
    pub(super) covered: f64,
    pub(super) reckoned: Reckoning,
}

/// Plates for all pieces, the first to be printed first.
#[derive(Clone, Debug)]
pub(super) struct Proposal {
    pub(super) plates: Vec<ProposedPlate>,
    /// Pieces that go on no plate: their labels, and why.
    pub(super) left: Vec<(String, String)>,
    /// Pieces packed by the box round them, because their model could not be read.
    pub(super) boxed: Vec<String>,
}

impl Proposal {
    /// The places of all pieces, when one plate holds them; else a refusal that names what does not go.
    pub(super) fn on_one_plate(&self, setting: &Setting) -> Result<Vec<Place>, Refused> {
        if !self.left.is_empty() {
            let why: Vec<String> =
                self.left.iter().map(|(label, why)| format!("{label}: {why}")).collect();
            return Err(Refused::input(
                "pieces",
                format!(
                    "{}. Nothing was changed; leave these out or choose a larger printer.",
                    why.join("; ")
                ),
            ));
        }
        let mut plates = self.plates.iter();
        let first = plates.next().map(|plate| plate.places.clone()).unwrap_or_default();
        let without: Vec<&str> =
            plates.flat_map(|plate| &plate.places).map(|place| place.label.as_str()).collect();
        if without.is_empty() {
            return Ok(first);
        }
        Err(Refused::input(
            "pieces",
            format!(
                "No room left on the plate of {:.0} × {:.0} mm for: {}. Nothing was changed; leave these for another plate.",
                setting.width_mm,
                setting.depth_mm,
                without.join(", ")
            ),
        ))
    }
}

/// Cells of this edge draw an outline.
const DRAWN_MM: f64 = 0.15;

/// Packs pieces on as many plates as they need, due first.
pub(super) fn propose(
    setting: &Setting,
    pieces: &[Model],
    shapes: &HashMap<DesignVersionId, Shape>,
) -> Result<Proposal, Refused> {
    let unreadable = |why: &dyn std::fmt::Display| Refused::input("pieces", format!("{why}."));
    let mut versions: Vec<DesignVersionId> = pieces.iter().map(|piece| piece.version).collect();
    versions.sort_unstable();
    versions.dedup();
    versions.retain(|version| shapes.contains_key(version));
    let models: Vec<&Mesh> = versions.iter().map(|version| &shapes[version].mesh).collect();
    let mut days: Vec<Day> = pieces.iter().filter_map(|piece| piece.due_on).collect();
    days.sort_unstable();
    days.dedup();
    let rank = |day: Day| days.binary_search(&day).ok().and_then(|at| i64::try_from(at).ok());
    let to_print: Vec<ToPrint> = pieces
        .iter()
        .filter_map(|piece| {
            let model = versions.binary_search(&piece.version).ok()?;
            Some(ToPrint { model, due: piece.due_on.and_then(rank) })
        })
        .collect();
    if to_print.len() != pieces.len() {
        return Err(unreadable(&"A piece has no model that can be packed"));
    }
    let plate = Plate {
        face: Face::Rectangle { width_mm: setting.width_mm, depth_mm: setting.depth_mm },
        height_mm: setting.height_mm,
        clearance_mm: CLEARANCE_MM,
        edge_mm: CLEARANCE_MM,
        raised_mm: RAISED_MM,
    };
    let ups = if setting.any_side { Up::ALL.to_vec() } else { vec![Up::PlusZ] };
    let options = PlateOptions { ups, ..PlateOptions::default() };
    let packed =
        pack_plates(&plate, &models, &to_print, &options).map_err(|why| unreadable(&why))?;
    let mut plates = Vec::new();
    for one in &packed.plates {
        if let Some(fault) = judge_plate(&plate, &models, &to_print, &one.pieces).first() {
            return Err(unreadable(&format!("The packing did not pass its check: {fault}")));
        }
        let mut places = Vec::new();
        let mut on = Vec::new();
        for place in &one.pieces {
            let piece = &pieces[place.piece];
            let mesh = models[to_print[place.piece].model];
            let outline = outline_on_plate(mesh, place.up, place.turn_deg, DRAWN_MM);
            on.push(Model { height_mm: place.size_mm[2], ..piece.clone() });
            places.push(Place {
                attempt: piece.attempt,
                label: piece.label.clone(),
                x_mm: place.x_mm,
                y_mm: place.y_mm,
                up: place.up.name(),
                turn_deg: place.turn_deg,
                size_mm: place.size_mm,
                outline: outline.unwrap_or_default(),
            });
        }
        let reckoned = reckon(setting, &on);
        plates.push(ProposedPlate { places, covered: one.covered, reckoned });
    }
    let left = packed
        .left
        .iter()
        .map(|(piece, why)| (pieces[*piece].label.clone(), why.to_string()))
        .collect();
    let boxed = pieces
        .iter()
        .filter(|piece| shapes.get(&piece.version).is_some_and(|shape| shape.boxed))
        .map(|piece| piece.label.clone())
        .collect();
    Ok(Proposal { plates, left, boxed })
}

/// What a plate takes, each figure with its working.
#[derive(Clone, Debug, Default)]
pub(super) struct Reckoning {
    pub(super) run: Option<Worked<PrintRun>>,
    pub(super) resin: Option<Worked<CubicMillimetres>>,
    /// Pieces whose model is open, so that its volume is not known.
    pub(super) unknown: Vec<String>,
    /// Why there is no figure.
    pub(super) refusal: Option<String>,
}

impl Reckoning {
    pub(super) fn minutes(&self) -> Option<f64> {
        self.run.as_ref().map(|run| run.value.duration.get())
    }

    pub(super) fn resin_ml(&self) -> Option<f64> {
        self.resin.as_ref().map(|resin| resin.value.cubic_centimetres())
    }
}

/// Reckons layers, time and resin of a plate; nothing for an empty one.
pub(super) fn reckon(setting: &Setting, pieces: &[Model]) -> Reckoning {
    if pieces.is_empty() {
        return Reckoning::default();
    }
    let unknown: Vec<String> = pieces
        .iter()
        .filter(|piece| piece.volume_mm3.is_none())
        .map(|piece| piece.label.clone())
        .collect();
    let run = run_of(setting, pieces);
    let resin = resin_of(setting, pieces);
    let refusal = run.as_ref().err().or(resin.as_ref().err()).cloned();
    Reckoning { run: run.ok(), resin: resin.ok(), unknown, refusal }
}

fn run_of(setting: &Setting, pieces: &[Model]) -> Result<Worked<PrintRun>, String> {
    let tallest = pieces.iter().map(|piece| piece.height_mm).fold(0.0, f64::max);
    let words = |refusal: &dyn std::fmt::Display| refusal.to_string();
    let times = LayerTimes {
        layer: Millimetres::new(f64::from(setting.layer_um) / 1000.0).map_err(|e| words(&e))?,
        exposure: Seconds::new(setting.exposure_s).map_err(|e| words(&e))?,
        bottom_layers: u32::try_from(setting.bottom_layers).unwrap_or(0),
        bottom_exposure: Seconds::new(setting.bottom_exposure_s).map_err(|e| words(&e))?,
        transition_layers: 0,
        movement: Seconds::new(setting.lift_s).map_err(|e| words(&e))?,
        source: Source::Entered,
    };
    let height = Millimetres::new(tallest + RAISED_MM).map_err(|e| words(&e))?;
    let mut run = print_run(height, &times).map_err(|e| words(&e))?;
    run.working.warn(format!(
        "The height is that of the tallest piece, {tallest:.1} mm, and {RAISED_MM:.0} mm of supports below it (assumed). Warming up and taking off come on top."
    ));
    Ok(run)
}

fn resin_of(setting: &Setting, pieces: &[Model]) -> Result<Worked<CubicMillimetres>, String> {
    let words = |refusal: &dyn std::fmt::Display| refusal.to_string();
    let models = pieces.iter().filter_map(|piece| piece.volume_mm3).sum();
    let percent = SUPPORTS
        .iter()
        .find(|(name, ..)| *name == setting.supports)
        .map_or(20.0, |(_, _, percent)| *percent);
    let assumed = "weigh the bottle before and after a plate to find yours";
    let supports = Sourced {
        value: Share::from_percent(percent).map_err(|e| words(&e))?,
        source: Source::Assumed(assumed.into()),
    };
    let left_behind = Sourced {
        value: CubicMillimetres::new(LEFT_BEHIND_ML * 1000.0).map_err(|e| words(&e))?,
        source: Source::Assumed(assumed.into()),
    };
    let models = CubicMillimetres::new(models).map_err(|e| words(&e))?;
    resin_for_plate(models, supports, left_behind).map_err(|e| words(&e))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setting() -> Setting {
        Setting {
            width_mm: 120.0,
            depth_mm: 68.0,
            height_mm: 100.0,
            layer_um: 50,
            exposure_s: 6.0,
            bottom_layers: 5,
            bottom_exposure_s: 40.0,
            lift_s: 6.0,
            supports: "medium".to_owned(),
            any_side: false,
        }
    }

    fn model(label: &str, height_mm: f64, volume_mm3: Option<f64>) -> Model {
        let (attempt, version) = (AttemptId::new(), DesignVersionId::new());
        let label = label.to_owned();
        Model { attempt, label, version, due_on: None, height_mm, volume_mm3 }
    }

    /// Pieces of given boxes, each of a model of its own.
    fn blocks(sizes: &[[f64; 3]]) -> (Vec<Model>, HashMap<DesignVersionId, Shape>) {
        let mut shapes = HashMap::new();
        let mut models = Vec::new();
        for (n, &size) in sizes.iter().enumerate() {
            let one = model(&format!("1-{}", n + 1), size[2], None);
            let mesh = foundry::shapes::solid::cuboid(size);
            shapes.insert(one.version, Shape { mesh, boxed: false });
            models.push(one);
        }
        (models, shapes)
    }

    #[test]
    fn pieces_too_tall_or_without_room_are_named() {
        let refused = |sizes: &[[f64; 3]]| {
            let (models, shapes) = blocks(sizes);
            let proposal = propose(&setting(), &models, &shapes).unwrap();
            proposal.on_one_plate(&setting()).unwrap_err().message
        };
        let message = refused(&[[20.0, 20.0, 95.0], [20.0, 20.0, 95.1]]);
        assert!(message.contains("1-2: it is too tall") && !message.contains("1-1"), "{message}");
        let message = refused(&[[115.0, 20.0, 9.0], [117.0, 20.0, 9.0]]);
        assert!(message.contains("1-2: it is 117.0 × 20.0"), "{message}");
        let message = refused(&[[100.0, 60.0, 9.0], [100.0, 60.0, 9.0]]);
        assert!(message.contains("No room left") && message.contains("for: 1-2."), "{message}");
    }

    #[test]
    fn a_plate_takes_the_time_and_resin_of_a_pocket_calculator() {
        // 15 mm and 5 mm of supports in layers of 0.05 mm: 400 layers. 5 bottom layers of
        // 40 s and 395 of 6 s are 2570 s of light; 400 lifts of 6 s are 2400 s.
        let pieces = [model("1-1", 15.0, Some(1500.0)), model("1-2", 12.0, Some(500.0))];
        let reckoned = reckon(&setting(), &pieces);
        assert_eq!(reckoned.run.as_ref().unwrap().value.layers, 400);
        assert!((reckoned.minutes().unwrap() - 4970.0 / 60.0).abs() < 1e-9);
        // 2 ml and a fifth for supports, and 3 ml left behind.
        assert!((reckoned.resin_ml().unwrap() - 5.4).abs() < 1e-9);
        assert!(reckoned.unknown.is_empty());
    }

    #[test]
    fn an_open_model_is_named_and_not_guessed() {
        let reckoned = reckon(&setting(), &[model("1-1", 15.0, None)]);
        assert_eq!(reckoned.unknown, ["1-1"]);
        assert!(reckon(&setting(), &[]).run.is_none());
    }
}
