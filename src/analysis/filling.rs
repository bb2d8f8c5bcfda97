//! Whether the thin walls of a model fill.

use foundry::fill::{Fill, FillInput, HeatTransfer, Section, Verdict, will_it_fill};
use foundry::quantity::{Celsius, Millimetres};
use foundry::source::Sourced;
use foundry::working::Worked;

use super::{CastAlloy, Casting};
use crate::json::examined::ThicknessJson;

/// The forecast for the section that fills worst.
#[derive(Clone, Debug)]
pub struct Filling {
    /// As a sheet, with its working.
    pub sheet: Worked<Fill>,
    /// Were it a round wire or prong.
    pub wire: Verdict,
    /// How thick it is.
    pub thickness_mm: f64,
    /// How far the metal runs in it.
    pub run_mm: f64,
    /// Where it lies.
    pub at_mm: [f64; 3],
    /// Whether walls lie below the limit, or the thinnest stands for all.
    pub thin: bool,
    /// How many thin places were looked at.
    pub places: usize,
}

struct Candidate {
    thickness_mm: f64,
    run_mm: f64,
    at_mm: [f64; 3],
}

/// Forecasts the filling of the thin places of a model, and returns the worst; of a model without
/// any, that of its thinnest wall.
///
/// # Assumes
/// Metal comes into a thin place from one side and has to run as far as the longest side of the
/// box around it; where no wall is thin, half the model's longest side.
///
/// # Errors
/// A sentence that says what is missing.
pub fn filling(
    walls: &ThicknessJson,
    box_mm: [f64; 3],
    alloy: &CastAlloy,
    casting: &Casting,
) -> Result<Filling, String> {
    let metal = alloy.liquid().ok_or_else(|| {
        format!(
            "Nothing is known here of the surface of liquid {}, so filling is not forecast.",
            alloy.name
        )
    })?;
    let liquidus = alloy.liquidus_c.ok_or_else(|| {
        format!(
            "Note the liquidus of {} with the alloy; filling cannot be forecast without it.",
            alloy.name
        )
    })?;
    let (Some(least), Some(least_at)) = (walls.min_mm, walls.min_at_mm) else {
        return Err("Nothing lies opposite anything, so there is no wall to fill.".to_owned());
    };
    let celsius = |value| Celsius::new(value).map_err(|why| why.to_string());
    let millimetres = |value| Millimetres::new(value).map_err(|why| why.to_string());
    let mut candidates: Vec<Candidate> = walls
        .thin_places
        .iter()
        .map(|place| Candidate {
            thickness_mm: place.min_mm,
            run_mm: (0..3).map(|a| place.to_mm[a] - place.from_mm[a]).fold(0.0, f64::max),
            // The middle of the box is a guess: of a bezel's wall it lies in the air.
            at_mm: place.min_at_mm.unwrap_or_else(|| {
                std::array::from_fn(|a| f64::midpoint(place.from_mm[a], place.to_mm[a]))
            }),
        })
        .collect();
    let thin = !candidates.is_empty();
    if !thin {
        let run_mm = box_mm.into_iter().fold(0.0, f64::max) / 2.0;
        candidates.push(Candidate { thickness_mm: least, run_mm, at_mm: least_at });
    }
    let mut worst: Option<Filling> = None;
    for candidate in &candidates {
        let mut input = FillInput {
            metal: metal.clone(),
            liquidus: Sourced::entered(celsius(liquidus)?),
            section: Section::Sheet { thickness: millimetres(candidate.thickness_mm)? },
            run: millimetres(candidate.run_mm)?,
            head: millimetres(casting.head_mm)?,
            method: casting.driven().map_err(|why| why.to_string())?,
            metal_temperature: celsius(casting.metal_c)?,
            flask_temperature: celsius(casting.flask_c)?,
            heat_transfer: HeatTransfer::default(),
        };
        let sheet = will_it_fill(&input).map_err(|why| why.to_string())?;
        input.section = Section::Wire { diameter: millimetres(candidate.thickness_mm)? };
        let wire = will_it_fill(&input).map_err(|why| why.to_string())?.value.verdict;
        let now = Filling {
            sheet,
            wire,
            thickness_mm: candidate.thickness_mm,
            run_mm: candidate.run_mm,
            at_mm: candidate.at_mm,
            thin,
            places: candidates.len(),
        };
        let worse = worst.as_ref().is_none_or(|before| {
            let rank = |filling: &Filling| (filling.sheet.value.verdict, filling.wire);
            let reach = |filling: &Filling| {
                filling.sheet.value.flow.longest.get() / filling.run_mm.max(1.0e-9)
            };
            rank(&now) > rank(before) || rank(&now) == rank(before) && reach(&now) < reach(before)
        });
        if worse {
            worst = Some(now);
        }
    }
    worst.ok_or_else(|| "There is no wall to fill.".to_owned())
}
