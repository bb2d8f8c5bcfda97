//! The flask cut open, in the colours of heat.

use foundry::heat::Section;

/// Colours of the heat scale, cold to hot.
const HEAT: [[f64; 3]; 5] = [
    [75.0, 90.0, 104.0],
    [138.0, 138.0, 111.0],
    [201.0, 154.0, 60.0],
    [216.0, 112.0, 42.0],
    [179.0, 50.0, 27.0],
];

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
