//! Fills, doubtful, or will not.

use std::borrow::Cow;

use crate::quantity::{Celsius, Millimetres};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

use super::pressure::{Kilopascals, Method, Section, back_pressure, pouring_pressure};
use super::{FillRefusal, LiquidMetal};

/// A thin section and how it is to be cast.
#[derive(Debug, Clone, PartialEq)]
pub struct FillInput {
    /// The metal.
    pub metal: LiquidMetal,
    /// Above this all of it is liquid.
    pub liquidus: Sourced<Celsius>,
    /// The section.
    pub section: Section,
    /// How far the metal runs in a section as thin as this.
    pub run: Millimetres,
    /// Height of metal above the section.
    pub head: Millimetres,
    /// How it is driven.
    pub method: Method,
    /// Temperature of the metal as poured.
    pub metal_temperature: Celsius,
    /// Temperature of the flask as poured.
    pub flask_temperature: Celsius,
    /// Heat that passes from metal to mould.
    pub heat_transfer: HeatTransfer,
}

/// Heat that passes from metal to mould, W/(m²·K), as a band.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatTransfer {
    /// Least.
    pub least_w_m2k: f64,
    /// Greatest.
    pub greatest_w_m2k: f64,
    /// Where the band comes from.
    pub source: Source,
}

impl Default for HeatTransfer {
    /// 500 to 2000: assumed, no value for investment was found.
    fn default() -> Self {
        Self {
            least_w_m2k: 500.0,
            greatest_w_m2k: 2000.0,
            source: Source::Assumed(Cow::Borrowed(
                "no value for hot investment was found; own fill trials narrow it",
            )),
        }
    }
}

/// The forecast in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// Both pressure and flow suffice with all uncertainty against it.
    Fills,
    /// It depends on what is not known.
    Doubtful,
    /// Pressure or flow is too small with all uncertainty in its favour.
    WillNot,
}

/// How far the metal runs before it freezes, between the worst and the best case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowBand {
    /// With the greatest heat transfer and much friction.
    pub shortest: Millimetres,
    /// With the least, and none.
    pub longest: Millimetres,
}

/// A forecast with the numbers behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fill {
    /// The worse of the two below.
    pub verdict: Verdict,
    /// Of pressure against surface tension.
    pub by_pressure: Verdict,
    /// Of flow against freezing.
    pub by_freezing: Verdict,
    /// Pressure the section asks for.
    pub needed: Kilopascals,
    /// Pressure at the section.
    pub available: Kilopascals,
    /// How far the metal would run; bounds, not a prediction.
    pub flow: FlowBand,
    /// How sure all this is, in words.
    pub how_sure: &'static str,
}

/// Pressure and surface tension together are known to this share at the worst.
const PRESSURE_ERROR: f64 = 0.25;
/// Solid share at which a metal that freezes over a range stops running.
const STOPS_AT_SOLID_SHARE: f64 = 0.5;
/// Sections below this are never called safe: castings of 0.5 mm and below did not all fill.
const NEVER_SAFE_BELOW_MM: f64 = 0.5;
/// Friction in a thin section may hold the metal back to this share of its free speed; assumed.
const SLOWEST_SHARE_OF_SPEED: f64 = 0.3;
/// No run is given longer than this.
const LONGEST_RUN_MM: f64 = 1.0e6;
/// Wide margins on both sides: surer than elsewhere.
const WIDE_MARGIN: f64 = 2.0;

/// How far metal runs in a section before it freezes.
///
/// `(A/S) × density × speed × (κL + c × superheat) ÷ (h × (liquidus − flask))`, with A/S half the
/// thickness of a sheet or a quarter of a wire's diameter and κ the solid share at which it stops.
///
/// # Source
/// M. C. Flemings, Solidification Processing, 1974, interface-controlled fluidity (from memory).
///
/// # Accuracy
/// Only as good as h, which is not known for investment to better than a factor of four.
///
/// # Refuses
/// Metal that is not liquid, a flask hotter than the liquidus, properties not above zero.
pub fn flow_length(
    input: &FillInput,
    speed_m_s: f64,
    heat_transfer_w_m2k: f64,
) -> Result<Millimetres, FillRefusal> {
    let liquidus_c = input.liquidus.value.get();
    let metal_c = input.metal_temperature.get();
    let flask_c = input.flask_temperature.get();
    if metal_c < liquidus_c {
        return Err(FillRefusal::NotLiquid { metal_c, liquidus_c });
    }
    if flask_c >= liquidus_c {
        return Err(FillRefusal::FlaskTooHot { flask_c, liquidus_c });
    }
    let metal = &input.metal;
    for (what, value) in [
        ("density", metal.density.value.get()),
        ("latent heat", metal.latent_heat_j_g.value),
        ("specific heat", metal.specific_heat_j_kgk.value),
        ("heat transfer", heat_transfer_w_m2k),
        ("speed", speed_m_s),
    ] {
        if value.is_nan() || value <= 0.0 {
            return Err(FillRefusal::NoProperty { what });
        }
    }
    let heat_j_g = STOPS_AT_SOLID_SHARE * metal.latent_heat_j_g.value
        + metal.specific_heat_j_kgk.value / 1000.0 * (metal_c - liquidus_c);
    // mm × g/cm³ × J/g are 1000 J/m²; times m/s and over W/m² that is 1000 m, a million mm.
    let carried = input.section.modulus_mm()? * metal.density.value.get() * heat_j_g * speed_m_s;
    let lost_w_m2 = heat_transfer_w_m2k * (liquidus_c - flask_c);
    Ok(Millimetres::new((carried * 1.0e6 / lost_w_m2).min(LONGEST_RUN_MM))?)
}

/// Forecasts whether a thin section fills.
///
/// # Accuracy
/// No controlled fill trial of silver, gold or bronze was found to hold it against. Sections
/// of 0.5 mm and below are never called safe (Orchid jewellers' forum, thread 43897: they did
/// not all fill). The studio's own trials count for more than this.
///
/// # Refuses
/// As [`flow_length`] and [`pouring_pressure`].
pub fn will_it_fill(input: &FillInput) -> Result<Worked<Fill>, FillRefusal> {
    let tension = &input.metal.surface_tension_n_m;
    let density = &input.metal.density;
    let size_mm = input.section.size_mm()?;
    let needed = back_pressure(input.section, tension.value)?;
    let available = pouring_pressure(input.method, input.head, density)?;
    let mut working = Working::default();
    let (formula, shape) = match input.section {
        Section::Sheet { .. } => ("2 × surface tension ÷ thickness", "thickness"),
        Section::Wire { .. } => ("4 × surface tension ÷ diameter", "diameter"),
    };
    working.step(
        formula,
        vec![
            Figure::real("surface tension", tension.value, "N/m", tension.source.clone()),
            Figure::real(shape, size_mm, "mm", Source::Entered),
        ],
        Figure::real(
            "pressure against which it must be pushed in",
            needed.get(),
            "kPa",
            Source::Computed,
        ),
    );
    working.follow(available.working);
    let available = available.value;
    let ratio = available.get() / needed.get();
    let by_pressure = verdict_of(ratio / (1.0 + PRESSURE_ERROR), ratio * (1.0 + PRESSURE_ERROR));

    let flow = flow_band(input, available, needed, &mut working)?;
    let run_mm = input.run.get().max(f64::MIN_POSITIVE);
    let by_freezing = verdict_of(flow.shortest.get() / run_mm, flow.longest.get() / run_mm);
    let mut verdict = by_pressure.max(by_freezing);
    if size_mm <= NEVER_SAFE_BELOW_MM && verdict == Verdict::Fills {
        verdict = Verdict::Doubtful;
        working.warn("Sections of 0.5 mm and below did not all fill where it was tried (Orchid jewellers' forum, thread 43897).");
    }
    let wide = match verdict {
        Verdict::Fills => ratio > WIDE_MARGIN && flow.shortest.get() > WIDE_MARGIN * run_mm,
        Verdict::Doubtful => false,
        Verdict::WillNot => ratio * WIDE_MARGIN < 1.0 || flow.longest.get() * WIDE_MARGIN < run_mm,
    };
    let how_sure = match (verdict, wide) {
        (Verdict::Doubtful, _) => "open: cast a trial piece, or thicken the section",
        (_, true) => "fairly sure: more than a factor of two to spare",
        (_, false) => "little to spare: a trial piece would settle it",
    };
    working.warn("Freezing is known only to a factor of four, because the heat passing from metal to mould is not known for investment: the two lengths are bounds, not predictions.");
    let value = Fill { verdict, by_pressure, by_freezing, needed, available, flow, how_sure };
    Ok(Worked { value, working })
}

const fn assumed_friction() -> Source {
    Source::Assumed(Cow::Borrowed("friction and turns take up to 0.7 of the speed"))
}

const fn assumed_error() -> Source {
    Source::Assumed(Cow::Borrowed(
        "surface tension and pressure together are off by a quarter at most",
    ))
}

fn verdict_of(worst: f64, best: f64) -> Verdict {
    if worst >= 1.0 {
        Verdict::Fills
    } else if best >= 1.0 {
        Verdict::Doubtful
    } else {
        Verdict::WillNot
    }
}

/// The flow between greatest and least heat transfer; none at all without speed.
fn flow_band(
    input: &FillInput,
    available: Kilopascals,
    needed: Kilopascals,
    working: &mut Working,
) -> Result<FlowBand, FillRefusal> {
    let density = &input.metal.density;
    let mut speed = |case: &'static str, pressure_factor: f64, share_of_speed: f64| {
        let pressure_kpa = available.get() * pressure_factor;
        let surplus_kpa = (pressure_kpa - needed.get()).max(0.0);
        // kPa over g/cm³ is m²/s².
        let speed_m_s = share_of_speed * (2.0 * surplus_kpa / density.value.get()).sqrt();
        working.step(
            "share × √(2 × (pressure at the section × factor − pressure against it) ÷ density), nothing if negative",
            vec![
                Figure::real("share left by friction", share_of_speed, "", assumed_friction()),
                Figure::real("pressure at the section", available.get(), "kPa", Source::Computed),
                Figure::real("factor for what is not known", pressure_factor, "", assumed_error()),
                Figure::real("pressure against it", needed.get(), "kPa", Source::Computed),
                Figure::real("density of the liquid", density.value.get(), "g/cm³", density.source.clone()),
            ],
            Figure::real(case, speed_m_s, "m/s", Source::Computed),
        );
        speed_m_s
    };
    let slow_m_s =
        speed("speed at the worst", 1.0 / (1.0 + PRESSURE_ERROR), SLOWEST_SHARE_OF_SPEED);
    let fast_m_s = speed("speed at the best", 1.0 + PRESSURE_ERROR, 1.0);
    let length = |speed_m_s: f64, heat_transfer: f64| {
        // Temperatures and properties are checked even when the metal stands still.
        let length = flow_length(input, speed_m_s.max(f64::MIN_POSITIVE), heat_transfer)?;
        Ok::<_, FillRefusal>(if speed_m_s > 0.0 { length } else { Millimetres::ZERO })
    };
    let HeatTransfer { least_w_m2k, greatest_w_m2k, source } = &input.heat_transfer;
    let band = FlowBand {
        shortest: length(slow_m_s, *greatest_w_m2k)?,
        longest: length(fast_m_s, *least_w_m2k)?,
    };
    for (name, heat_transfer, speed_m_s, length) in [
        ("shortest run before it freezes", *greatest_w_m2k, slow_m_s, band.shortest),
        ("longest run before it freezes", *least_w_m2k, fast_m_s, band.longest),
    ] {
        let metal = &input.metal;
        working.step(
            "section ÷ circumference × density × speed × (0.5 × latent heat + specific heat ÷ 1000 × superheat) ÷ (heat transfer × (liquidus − flask)) × 1000000",
            vec![
                Figure::real("section ÷ circumference", input.section.modulus_mm()?, "mm", Source::Computed),
                Figure::real("speed", speed_m_s, "m/s", Source::Computed),
                Figure::real("latent heat", metal.latent_heat_j_g.value, "J/g", metal.latent_heat_j_g.source.clone()),
                Figure::real("specific heat", metal.specific_heat_j_kgk.value, "J/(kg·K)", metal.specific_heat_j_kgk.source.clone()),
                Figure::real("superheat", (input.metal_temperature - input.liquidus.value).get(), "K", Source::Computed),
                Figure::real("liquidus − flask", (input.liquidus.value - input.flask_temperature).get(), "K", input.liquidus.source.clone()),
                Figure::real("heat transfer", heat_transfer, "W/(m²·K)", source.clone()),
            ],
            Figure::real(name, length.get(), "mm", Source::Computed),
        );
    }
    Ok(band)
}
