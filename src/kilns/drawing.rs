//! A computed firing as a drawing: its curves to scale, and the flask cut open.

use foundry::heat::{Sample, Section};

use super::firing::Firing;
use super::heat_line::Axis;

/// Width of the curves, without margins.
const WIDTH: f64 = 860.0;
/// Where the drawing's 0 °C lies.
pub(super) const FLOOR: f64 = 270.0;
/// Height of a degree.
const PER_DEGREE: f64 = 0.3;
/// Colours of the heat scale, cold to hot.
const HEAT: [[f64; 3]; 5] = [
    [75.0, 90.0, 104.0],
    [138.0, 138.0, 111.0],
    [201.0, 154.0, 60.0],
    [216.0, 112.0, 42.0],
    [179.0, 50.0, 27.0],
];

/// The curves of a firing.
#[derive(Clone, Debug, Default)]
pub(super) struct Curves {
    pub(super) asked: String,
    pub(super) kiln: String,
    pub(super) wall: String,
    pub(super) core: String,
    /// Hours below the drawing.
    pub(super) hours: Vec<(f64, i64)>,
    /// Named temperatures: their height, name, degrees, and where the core passes.
    pub(super) lines: Vec<(f64, &'static str, f64, Option<f64>)>,
    /// From where to where it can be poured.
    pub(super) window: Option<(f64, f64)>,
    /// The moment of the section.
    pub(super) chosen: f64,
    /// Every so often: x, width, and what it was.
    pub(super) stops: Vec<(f64, f64, Sample)>,
}

impl Curves {
    pub(super) fn of(firing: &Firing) -> Self {
        let total = firing.burnout.total.get().max(1.0);
        let window_min = firing.bench.value.map(|minutes| minutes.get());
        // A tenth of the width is kept for the bench.
        let axis = Axis { per_minute: WIDTH * 0.92 / total, per_degree: PER_DEGREE, floor: FLOOR };
        let samples = &firing.burnout.samples;
        let every = (samples.len() / 300).max(1);
        let path = |of: fn(&Sample) -> f64| {
            let points: Vec<(f64, f64)> = samples
                .iter()
                .enumerate()
                .filter(|(n, _)| n % every == 0 || n + 1 == samples.len())
                .map(|(_, sample)| (sample.minute.get(), of(sample)))
                .collect();
            axis.path(0.0, &points)
        };
        let hour_step = if total > 20.0 * 60.0 { 4 } else { 2 };
        let step_min = (total / 24.0 / 15.0).ceil().max(1.0) * 15.0;
        let stops = (0..=(total / step_min) as u32)
            .filter_map(|n| {
                let minute = f64::from(n) * step_min;
                let sample = firing.burnout.at(foundry::quantity::Minutes::of(minute))?;
                let left = (minute - step_min / 2.0).max(0.0);
                Some((left * axis.per_minute, step_min * axis.per_minute, sample))
            })
            .collect();
        Self {
            asked: path(|sample| sample.asked.get()),
            kiln: path(|sample| sample.kiln.get()),
            wall: path(|sample| sample.wall.get()),
            core: path(|sample| sample.core.get()),
            hours: (0..=(total / 60.0) as i64 / hour_step)
                .map(|n| ((n * hour_step * 60) as f64 * axis.per_minute, n * hour_step))
                .collect(),
            lines: firing
                .verdict
                .passages
                .iter()
                .map(|passage| {
                    let at = passage.temperature.get();
                    let core = passage.core.map(|minute| minute.get() * axis.per_minute);
                    (FLOOR - at * PER_DEGREE, passage.name, at, core)
                })
                .collect(),
            window: window_min
                .map(|minutes| (total * axis.per_minute, (minutes * axis.per_minute).max(3.0))),
            chosen: firing.section_minute * axis.per_minute,
            stops,
        }
    }

    /// Heights of the degrees beside the drawing.
    pub(super) fn degrees() -> [(f64, f64); 4] {
        [200.0, 400.0, 600.0, 800.0].map(|celsius| (FLOOR - celsius * PER_DEGREE, celsius))
    }
}

/// Half of the flask cut open; the other half is its mirror image.
#[derive(Clone, Debug, Default)]
pub(super) struct Cut {
    /// x, y, width, height in mm, and the colour.
    pub(super) cells: Vec<(f64, f64, f64, f64, String)>,
    pub(super) radius_mm: f64,
    pub(super) height_mm: f64,
    /// The scale beside it: colour and degrees.
    pub(super) scale: Vec<(f64, String, f64)>,
    pub(super) coldest_c: f64,
    pub(super) hottest_c: f64,
}

/// A colour of the heat scale for a share of it.
fn colour(share: f64) -> String {
    let share = if share.is_nan() { 0.0 } else { share.clamp(0.0, 1.0) };
    let at = share * (HEAT.len() - 1) as f64;
    let low = (at.floor() as usize).min(HEAT.len() - 2);
    let part = at - low as f64;
    let mix = |n: usize| HEAT[low][n] + (HEAT[low + 1][n] - HEAT[low][n]) * part;
    format!("#{:02x}{:02x}{:02x}", mix(0) as u8, mix(1) as u8, mix(2) as u8)
}

impl Cut {
    pub(super) fn of(section: &Section) -> Self {
        let Some((coldest, hottest)) = section.range() else { return Self::default() };
        let (low, high) = (coldest.get(), hottest.get());
        // Less than twenty kelvins is even: the scale does not shout about it.
        let span = (high - low).max(20.0);
        let edge = |edges: &[foundry::quantity::Millimetres]| {
            edges.iter().map(|edge| edge.get()).collect::<Vec<f64>>()
        };
        let (radii, heights) = (edge(&section.radii), edge(&section.heights));
        let height_mm = heights.last().copied().unwrap_or(0.0);
        let mut cells = Vec::new();
        for (row, tall) in heights.windows(2).enumerate() {
            for (column, wide) in radii.windows(2).enumerate() {
                if let Some(at) = section.temperature(column, row) {
                    cells.push((
                        wide[0],
                        height_mm - tall[1],
                        wide[1] - wide[0],
                        tall[1] - tall[0],
                        colour((at.get() - low) / span),
                    ));
                }
            }
        }
        let scale = (0..5)
            .map(|n| {
                let share = f64::from(n) / 4.0;
                (f64::from(n) * 30.0, colour(share), low + span * share)
            })
            .collect();
        Self {
            cells,
            radius_mm: radii.last().copied().unwrap_or(0.0),
            height_mm,
            scale,
            coldest_c: low,
            hottest_c: high,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_runs_from_cold_slate_to_ember() {
        assert_eq!(colour(0.0), "#4b5a68");
        assert_eq!(colour(1.0), "#b3321b");
        assert_eq!(colour(f64::NAN), "#4b5a68", "a number that is none is cold");
    }
}
