//! A ring's size: as drawn, as it comes out, and what to draw for a size that is wanted.

use std::borrow::Cow;

use foundry::quantity::{Millimetres, Share};
use foundry::size::{Changes, Feature, RingScale, RingSize, finished_size, model_size};
use foundry::source::{Source, Sourced};
use serde::Deserialize;

use super::view::UsualResin;
use crate::analysis::CastAlloy;
use crate::json::examined::{BoreJson, RingSizesJson};
use crate::web::{Html, Show, working_of};

/// Taken out of a bore in finishing, unless told otherwise (common practice, no source).
const FINISHING_MM: f64 = 0.1;

/// What is asked about a ring; what is left out has its usual value.
#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Asked {
    /// Somebody says that what is open is a cut ring.
    #[serde(default)]
    pub(super) ring: String,
    /// `iso`, `us` or `uk`.
    #[serde(default)]
    pub(super) scale: String,
    /// The size that is wanted.
    #[serde(default)]
    pub(super) size: String,
    /// Contraction in print and cure, in per cent.
    #[serde(default)]
    pub(super) print: String,
    /// Taken away in finishing, in millimetres.
    #[serde(default)]
    pub(super) finishing: String,
}

impl Asked {
    /// Whether it was said that it is a ring.
    pub(super) fn is_ring(&self) -> bool {
        self.ring == "yes"
    }
}

/// A ring's size.
pub(crate) struct Ring {
    pub(super) asked: Asked,
    /// The bore as it comes out, opening into its working.
    pub(super) finished: Html,
    pub(super) finished_sizes: RingSizesJson,
    pub(super) contraction_percent: f64,
    /// How the pattern contracts, and who says so.
    pub(super) pattern: String,
    /// What that is when nobody types it, in per cent.
    pub(super) pattern_usual: String,
    /// What to draw for the size that is wanted, and by what the model is to be scaled.
    pub(super) wanted: Option<Wanted>,
    pub(super) error: Option<String>,
}

/// What to draw for a size that is wanted.
pub(crate) struct Wanted {
    pub(super) size: String,
    pub(super) inside_mm: f64,
    pub(super) bore: Html,
    pub(super) scale_percent: f64,
}

/// The scales to choose from.
pub(super) const SCALES: [(&str, &str); 3] =
    [("iso", "ISO 8653"), ("us", "United States"), ("uk", "United Kingdom")];

fn number(text: &str, otherwise: f64, most: f64, what: &str) -> Result<f64, String> {
    let text = text.trim().replace(',', ".");
    if text.is_empty() {
        return Ok(otherwise);
    }
    text.parse::<f64>()
        .ok()
        .filter(|value| (0.0..=most).contains(value))
        .ok_or_else(|| format!("{what} must be a number between 0 and {most}."))
}

impl Ring {
    /// What becomes of a bore in an alloy, printed in a resin unless the contraction is typed.
    pub(super) fn of(
        bore: &BoreJson,
        alloy: Option<&CastAlloy>,
        resin: Option<&UsualResin>,
        asked: Asked,
        show: &Show,
    ) -> Self {
        match Self::reckon(bore, alloy, resin, &asked, show) {
            Ok(ring) => Self { asked, ..ring },
            // What was typed is kept beside the message; the figures are those of the usual values.
            Err(error) => {
                let usual = Self::reckon(bore, alloy, resin, &Asked::default(), show);
                let usual = usual.unwrap_or_else(|_| Self {
                    asked: Asked::default(),
                    finished: Html::escaped("not known"),
                    finished_sizes: RingSizesJson { iso_8653: None, us: None, uk: None },
                    contraction_percent: 0.0,
                    pattern: String::new(),
                    pattern_usual: String::new(),
                    wanted: None,
                    error: None,
                });
                Self { asked, error: Some(error), ..usual }
            }
        }
    }

    fn reckon(
        bore: &BoreJson,
        alloy: Option<&CastAlloy>,
        resin: Option<&UsualResin>,
        asked: &Asked,
        show: &Show,
    ) -> Result<Self, String> {
        let usual = resin.map_or(0.0, |resin| resin.shrinkage * 100.0);
        let print =
            number(&asked.print, usual, 10.0, "The contraction in print and cure, in per cent,")?;
        let typed = !asked.print.trim().is_empty();
        let percent = format!("{print:.2} %");
        let (pattern, pattern_source) = match resin {
            _ if typed => (format!("{percent} in print and cure, as typed"), Source::Entered),
            Some(resin) => {
                let words = format!("{percent} in print and cure, as entered with {}", resin.name);
                (
                    words,
                    Source::Assumed(Cow::Owned(format!("printed in {}, as lately", resin.name))),
                )
            }
            None => (
                "assumed 0 % in print and cure: no resin is known yet".to_owned(),
                Source::Assumed(Cow::Borrowed("no resin is known yet")),
            ),
        };
        let finishing_source = match asked.finishing.trim() {
            "" => Source::CommonPractice,
            _ => Source::Entered,
        };
        let finishing =
            number(&asked.finishing, FINISHING_MM, 3.0, "What finishing takes, in mm,")?;
        let words = |why: foundry::quantity::QuantityRefusal| why.to_string();
        let casting = Share::new(alloy.map_or(0.0, |alloy| alloy.shrinkage)).map_err(words)?;
        let changes = Changes {
            feature: Feature::Bore,
            pattern: Sourced {
                value: Share::from_percent(print).map_err(words)?,
                source: pattern_source,
            },
            casting: Sourced { value: casting, source: Source::Entered },
            finishing: Sourced {
                value: Millimetres::new(finishing).map_err(words)?,
                source: finishing_source,
            },
        };
        let drawn = Millimetres::new(bore.diameter_mm).map_err(words)?;
        let finished = finished_size(drawn, &changes).map_err(|why| why.to_string())?;
        let wanted = match asked.size.trim() {
            "" => None,
            size => Some(want(size, &asked.scale, &changes, bore.diameter_mm, show)?),
        };
        Ok(Self {
            asked: Asked::default(),
            finished: working_of(&show.number(finished.value.get(), 2, "mm"), &finished.working),
            finished_sizes: RingSizesJson::nearest(finished.value),
            contraction_percent: casting.percent(),
            pattern,
            pattern_usual: format!("{usual:.2}"),
            wanted,
            error: None,
        })
    }
}

fn want(
    text: &str,
    scale: &str,
    changes: &Changes,
    bore_mm: f64,
    show: &Show,
) -> Result<Wanted, String> {
    let scale = match scale {
        "us" => RingScale::UnitedStates,
        "uk" => RingScale::UnitedKingdom,
        _ => RingScale::Iso8653,
    };
    let size = RingSize::parse(scale, text).map_err(|why| why.to_string())?;
    let inside = size.inside_diameter();
    let drawn = model_size(inside.value, changes).map_err(|why| why.to_string())?;
    let mut working = inside.working;
    working.follow(drawn.working);
    Ok(Wanted {
        size: format!("{} {size}", scale.name()),
        inside_mm: inside.value.get(),
        bore: working_of(&show.number(drawn.value.get(), 2, "mm"), &working),
        scale_percent: drawn.value.get() / bore_mm * 100.0,
    })
}
