//! Scales of colour for what is no temperature: walls, gaps, times.

use foundry::mesh::Mesh;
use foundry::mesh::render::{RenderOptions, View, render_painted};
use serde::{Deserialize, Serialize};

/// Pixels of a picture, twice as sharp as it is shown.
const PICTURE_PIXELS: u32 = 560;
/// Colour of what has no value.
const PLAIN: [u8; 3] = [206, 200, 190];

/// What a scale is for; each has colours of its own, light to dark in steps that stay apart in
/// print and for the colour-blind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// Thickness of walls: thin is dark.
    Walls,
    /// Width of gaps: narrow is dark.
    Gaps,
    /// Time until a place stops feeding: late is dark.
    Times,
}

impl Tone {
    /// Its colours from the least value to the greatest. The viewer's script has the same.
    #[must_use]
    pub const fn colours(self) -> [[u8; 3]; 5] {
        match self {
            Self::Walls => {
                [[78, 18, 74], [140, 60, 122], [186, 122, 166], [217, 186, 206], [236, 232, 226]]
            }
            Self::Gaps => {
                [[52, 62, 18], [104, 118, 40], [156, 168, 88], [200, 206, 154], [236, 234, 222]]
            }
            Self::Times => {
                [[232, 238, 226], [164, 207, 196], [86, 158, 164], [38, 98, 126], [18, 38, 74]]
            }
        }
    }
}

/// A scale of colour between two values.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// What it is for.
    pub tone: Tone,
    /// The value of its first colour.
    pub from: f32,
    /// The value of its last.
    pub to: f32,
}

impl Scale {
    /// The colour of a value; values beyond the ends have the colours of the ends.
    #[must_use]
    pub fn colour(&self, value: f32) -> [u8; 3] {
        if !value.is_finite() {
            return PLAIN;
        }
        let span = (self.to - self.from).max(f32::MIN_POSITIVE);
        let along = ((value - self.from) / span).clamp(0.0, 1.0) * 4.0;
        let step = (along.floor() as usize).min(3);
        let share = along - step as f32;
        let colours = self.tone.colours();
        std::array::from_fn(|channel| {
            let (low, high) =
                (f32::from(colours[step][channel]), f32::from(colours[step + 1][channel]));
            (low + (high - low) * share).round() as u8
        })
    }

    /// A scale from nothing to about what nine in ten values stay below, between twice the limit
    /// and twelve times, so that what lies below it stands out.
    #[must_use]
    pub fn above_zero(tone: Tone, values: &[f32], limit: f32) -> Self {
        let mut finite: Vec<f32> =
            values.iter().copied().filter(|value| value.is_finite()).collect();
        finite.sort_unstable_by(f32::total_cmp);
        let ninth = finite.get(finite.len() * 9 / 10).copied().unwrap_or(0.0);
        Self { tone, from: 0.0, to: (ninth.clamp(2.0 * limit, 12.0 * limit) * 2.0).ceil() / 2.0 }
    }

    /// A picture of a mesh with a value at each of its points, as PNG.
    #[must_use]
    pub fn picture(&self, mesh: &Mesh, values: &[f32]) -> Vec<u8> {
        let colours: Vec<[u8; 3]> = values.iter().map(|&value| self.colour(value)).collect();
        let options = RenderOptions {
            width: PICTURE_PIXELS,
            height: PICTURE_PIXELS,
            view: View::ThreeQuarter,
            colour: PLAIN,
        };
        render_painted(mesh, &options, &colours).png()
    }
}

#[cfg(test)]
mod tests {
    use super::{Scale, Tone};

    #[test]
    fn a_scale_ends_in_its_own_colours_and_changes_in_lightness_all_the_way() {
        for tone in [Tone::Walls, Tone::Gaps, Tone::Times] {
            let scale = Scale { tone, from: 1.0, to: 3.0 };
            assert_eq!(scale.colour(0.0), tone.colours()[0]);
            assert_eq!(scale.colour(9.0), tone.colours()[4]);
            // Rec. 709 luma: enough to tell light from dark.
            let light = |[r, g, b]: [u8; 3]| {
                0.2126 * f32::from(r) + 0.7152 * f32::from(g) + 0.0722 * f32::from(b)
            };
            let along: Vec<f32> =
                (0..=20).map(|n| light(scale.colour(1.0 + n as f32 / 10.0))).collect();
            let rises = along.windows(2).all(|pair| pair[0] < pair[1]);
            let falls = along.windows(2).all(|pair| pair[0] > pair[1]);
            assert!(rises || falls, "{along:?}");
        }
    }
}
