//! How a plate stands, how pieces are set on it, and what it takes. No SQL, no clock.

use foundry::plate::{
    Bed, LayerTimes, PrintRun, Rectangle, Spot, print_run, resin_for_plate, shelves,
};
use foundry::quantity::{CubicMillimetres, Millimetres, Seconds, Share};
use foundry::source::{Source, Sourced};
use foundry::working::Worked;

use crate::id::AttemptId;
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
}

/// A piece that is to stand on a plate: its label and the box round its model.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Model {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) width_mm: f64,
    pub(super) depth_mm: f64,
    pub(super) height_mm: f64,
    pub(super) volume_mm3: Option<f64>,
}

/// Sets all pieces on the plate, or says which do not go and why.
pub(super) fn set_out(
    setting: &Setting,
    pieces: &[Model],
) -> Result<Vec<(AttemptId, Spot)>, Refused> {
    let tall: Vec<String> = pieces
        .iter()
        .filter(|piece| piece.height_mm + RAISED_MM > setting.height_mm)
        .map(|piece| format!("{} ({:.1} mm)", piece.label, piece.height_mm))
        .collect();
    if !tall.is_empty() {
        return Err(Refused::input(
            "pieces",
            format!(
                "Too tall for this printer, which prints {:.1} mm with {RAISED_MM:.0} mm taken by supports: {}. Nothing was changed; leave these out or choose a taller printer.",
                setting.height_mm,
                tall.join(", ")
            ),
        ));
    }
    let unreadable =
        || Refused::input("pieces", "The size of the plate or of a piece cannot be used.");
    let mm = |value: f64| Millimetres::new(value).map_err(|_| unreadable());
    let bed = Bed {
        width: mm(setting.width_mm)?,
        depth: mm(setting.depth_mm)?,
        clearance: mm(CLEARANCE_MM)?,
    };
    let rectangles = pieces
        .iter()
        .map(|piece| Ok(Rectangle { width: mm(piece.width_mm)?, depth: mm(piece.depth_mm)? }))
        .collect::<Result<Vec<_>, Refused>>()?;
    let spots = shelves(&bed, &rectangles);
    let without: Vec<&str> = pieces
        .iter()
        .zip(&spots)
        .filter(|(_, spot)| spot.is_none())
        .map(|(piece, _)| piece.label.as_str())
        .collect();
    if !without.is_empty() {
        return Err(Refused::input(
            "pieces",
            format!(
                "No room left on the plate of {:.0} × {:.0} mm for: {}. Nothing was changed; leave these for another plate.",
                setting.width_mm,
                setting.depth_mm,
                without.join(", ")
            ),
        ));
    }
    Ok(pieces.iter().zip(spots).filter_map(|(piece, spot)| Some((piece.attempt, spot?))).collect())
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
        }
    }

    fn model(label: &str, width_mm: f64, height_mm: f64, volume_mm3: Option<f64>) -> Model {
        let attempt = AttemptId::new();
        let label = label.to_owned();
        Model { attempt, label, width_mm, depth_mm: 20.0, height_mm, volume_mm3 }
    }

    #[test]
    fn pieces_too_tall_or_without_room_are_named() {
        let refused =
            set_out(&setting(), &[model("1-1", 20.0, 95.0, None), model("1-2", 20.0, 95.1, None)])
                .unwrap_err();
        assert!(refused.message.contains("1-2") && !refused.message.contains("1-1 "));
        let refused =
            set_out(&setting(), &[model("1-1", 116.0, 9.0, None), model("1-2", 117.0, 9.0, None)])
                .unwrap_err();
        assert!(refused.message.contains("for: 1-2."), "{}", refused.message);
    }

    #[test]
    fn a_plate_takes_the_time_and_resin_of_a_pocket_calculator() {
        // 15 mm and 5 mm of supports in layers of 0.05 mm: 400 layers. 5 bottom layers of
        // 40 s and 395 of 6 s are 2570 s of light; 400 lifts of 6 s are 2400 s.
        let pieces =
            [model("1-1", 20.0, 15.0, Some(1500.0)), model("1-2", 20.0, 12.0, Some(500.0))];
        let reckoned = reckon(&setting(), &pieces);
        assert_eq!(reckoned.run.as_ref().unwrap().value.layers, 400);
        assert!((reckoned.minutes().unwrap() - 4970.0 / 60.0).abs() < 1e-9);
        // 2 ml and a fifth for supports, and 3 ml left behind.
        assert!((reckoned.resin_ml().unwrap() - 5.4).abs() < 1e-9);
        assert!(reckoned.unknown.is_empty());
    }

    #[test]
    fn an_open_model_is_named_and_not_guessed() {
        let reckoned = reckon(&setting(), &[model("1-1", 20.0, 15.0, None)]);
        assert_eq!(reckoned.unknown, ["1-1"]);
        assert!(reckon(&setting(), &[]).run.is_none());
    }
}
