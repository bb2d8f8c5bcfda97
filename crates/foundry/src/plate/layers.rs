//! Layers, hours and resin of a plate.

use crate::quantity::{CubicMillimetres, Millimetres, Minutes, QuantityRefusal, Seconds, Share};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

/// Why a print run was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PrintRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A layer that is no layer.
    #[error("a layer is between 0.005 and 0.5 mm high; {given_mm} mm was given")]
    LayerHeight {
        /// What was given.
        given_mm: f64,
    },
    /// Nothing stands on the plate.
    #[error("the height on the plate must be above zero; {given_mm} mm was given")]
    NoHeight {
        /// What was given.
        given_mm: f64,
    },
    /// A time below zero.
    #[error("{what} cannot take less than no time")]
    NegativeTime {
        /// Which time.
        what: &'static str,
    },
}

/// What the printer does for each layer.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerTimes {
    /// Height of a layer.
    pub layer: Millimetres,
    /// Light for a layer.
    pub exposure: Seconds,
    /// Layers at the start that get more light.
    pub bottom_layers: u32,
    /// Light for each of those.
    pub bottom_exposure: Seconds,
    /// Layers in which the light falls evenly from the bottom's to the usual.
    pub transition_layers: u32,
    /// Lifting, returning and waiting for each layer.
    pub movement: Seconds,
    /// Where these come from.
    pub source: Source,
}

/// What a plate takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrintRun {
    /// Layers, the last one rounded up.
    pub layers: u32,
    /// Time on the printer, without warming up and taking off.
    pub duration: Minutes,
}

/// A height this much above a whole number of layers still counts as that number.
const LAYER_SLACK: f64 = 1e-6;

/// Layers and time of a plate. Only its height counts, not how many pieces stand on it.
///
/// # Units
/// `height` from the plate to the top of the highest piece, with what supports raise it.
///
/// # Accuracy
/// As good as the times; printers that wait for the resin to settle take longer. Compare the
/// first runs and correct `movement`.
///
/// # Refuses
/// Layers outside 0.005 to 0.5 mm, no height, times below zero.
pub fn print_run(
    height: Millimetres,
    times: &LayerTimes,
) -> Result<Worked<PrintRun>, PrintRefusal> {
    let (height_mm, layer_mm) = (height.get(), times.layer.get());
    if !(0.005..=0.5).contains(&layer_mm) {
        return Err(PrintRefusal::LayerHeight { given_mm: layer_mm });
    }
    if height_mm <= 0.0 {
        return Err(PrintRefusal::NoHeight { given_mm: height_mm });
    }
    for (what, time) in [
        ("exposure", times.exposure),
        ("bottom exposure", times.bottom_exposure),
        ("movement", times.movement),
    ] {
        if time < Seconds::ZERO {
            return Err(PrintRefusal::NegativeTime { what });
        }
    }
    let layers = (height_mm / layer_mm - LAYER_SLACK).ceil().max(1.0) as u32;
    let bottom = times.bottom_layers.min(layers);
    let transition = times.transition_layers.min(layers - bottom);
    let usual = layers - bottom - transition;
    let (first_s, last_s) = transition_ends(transition, times);
    let transition_s = f64::from(transition) * f64::midpoint(first_s, last_s);
    let exposed_s = f64::from(bottom) * times.bottom_exposure.get()
        + transition_s
        + f64::from(usual) * times.exposure.get();
    let moved_s = f64::from(layers) * times.movement.get();
    let duration = Seconds::new(exposed_s + moved_s)?.minutes();
    let mut working = Working::default();
    let setting = |name, value: Seconds| Figure::real(name, value.get(), "s", times.source.clone());
    let count =
        |name, count: u32| Figure::count(name, i64::from(count), "layers", Source::Computed);
    working.step(
        "height ÷ layer, rounded up",
        vec![
            Figure::real("height on the plate", height_mm, "mm", Source::Computed),
            Figure::real("layer", layer_mm, "mm", times.source.clone()),
        ],
        count("layers", layers),
    );
    if transition > 0 {
        working.step(
            "transition layers × (light of the first + light of the last) ÷ 2",
            vec![
                count("transition layers", transition),
                Figure::real("light of the first", first_s, "s", Source::Computed),
                Figure::real("light of the last", last_s, "s", Source::Computed),
            ],
            Figure::real("light of the transition layers", transition_s, "s", Source::Computed),
        );
    }
    working.step(
        "bottom layers × bottom exposure + light of the transition layers + other layers × exposure",
        vec![
            count("bottom layers", bottom),
            setting("bottom exposure", times.bottom_exposure),
            Figure::real("light of the transition layers", transition_s, "s", Source::Computed),
            count("other layers", usual),
            setting("exposure", times.exposure),
        ],
        Figure::real("light", exposed_s, "s", Source::Computed),
    );
    working.step(
        "(light + layers × movement) ÷ 60",
        vec![
            Figure::real("light", exposed_s, "s", Source::Computed),
            count("layers", layers),
            setting("lift, return and wait", times.movement),
        ],
        Figure::real("time on the printer", duration.get(), "min", Source::Computed),
    );
    Ok(Worked { value: PrintRun { layers, duration }, working })
}

/// Light of the first and the last transition layer; it falls by the same step from the bottom's
/// to the usual, and a low plate may not get through all of them.
fn transition_ends(layers: u32, times: &LayerTimes) -> (f64, f64) {
    let steps = f64::from(times.transition_layers) + 1.0;
    let fall = (times.bottom_exposure.get() - times.exposure.get()) / steps;
    let light = |layer: f64| times.bottom_exposure.get() - fall * layer;
    (light(1.0), light(f64::from(layers)))
}

/// Resin for a plate: models, supports, and what stays in vat and on pieces.
///
/// # Refuses
/// A volume too large to be a plate.
pub fn resin_for_plate(
    models: CubicMillimetres,
    supports: Sourced<Share>,
    left_behind: Sourced<CubicMillimetres>,
) -> Result<Worked<CubicMillimetres>, PrintRefusal> {
    let with_supports = models.get() * (1.0 + supports.value.get());
    let resin = CubicMillimetres::new(with_supports + left_behind.value.get())?;
    let mut working = Working::default();
    working.step(
        "models × (1 + supports) + left behind",
        vec![
            Figure::real("models", models.cubic_centimetres(), "ml", Source::Computed),
            Figure::real("supports", supports.value.percent(), "%", supports.source),
            Figure::real(
                "left in the vat and on the pieces",
                left_behind.value.cubic_centimetres(),
                "ml",
                left_behind.source,
            ),
        ],
        Figure::real("resin", resin.cubic_centimetres(), "ml", Source::Computed),
    );
    working.warn("Uncured resin and the alcohol it is washed in irritate and sensitise the skin: gloves, eye protection, fresh air, and no open flame near alcohol (flash point 11.7 °C, NIOSH Pocket Guide). The maker's safety data sheet decides.");
    Ok(Worked { value: resin, working })
}
