//! The tree map: the tree from above and unrolled, to scale, as paths for SVG.

use super::arrange::{Arranged, Hung, TreeKept};

/// A piece on one of the two drawings.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct DrawnPiece {
    pub(super) label: String,
    pub(super) path: String,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) letters: f64,
}

/// The runner of a piece from above, and where it leaves the sprue on the unrolled map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DrawnRunner {
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
    pub(super) width: f64,
    /// On the unrolled map.
    pub(super) at: [f64; 2],
}

/// Both drawings. From above, the flask's axis is the middle and x runs to the right; unrolled,
/// azimuths run to the right and the base is below.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct TreeMap {
    pub(super) radius_mm: f64,
    pub(super) height_mm: f64,
    /// Length of the unrolled wall.
    pub(super) around_mm: f64,
    pub(super) uprights: Vec<(f64, f64, f64)>,
    pub(super) channels: Vec<(f64, f64, f64)>,
    pub(super) runners: Vec<DrawnRunner>,
    pub(super) above: Vec<DrawnPiece>,
    pub(super) unrolled: Vec<DrawnPiece>,
    /// Tiers on the unrolled map: height from above, and number.
    pub(super) tiers: Vec<(f64, i32)>,
    /// How far the tip of the tree stands above the base.
    pub(super) tip_mm: f64,
    /// Clearances to rim and base as drawn: heights of the two lines.
    pub(super) rim_y: f64,
}

impl TreeMap {
    /// Draws an arranged tree.
    pub(super) fn of(tree: &TreeKept, pieces: &[Arranged]) -> Self {
        let pieces: Vec<(&str, i32, &Hung)> =
            pieces.iter().map(|one| (one.label.as_str(), one.tier, &one.hung)).collect();
        Self::draw(tree, &pieces)
    }

    /// Draws what hangs where the program put it; what was placed by hand is not among it.
    pub(super) fn draw(tree: &TreeKept, pieces: &[(&str, i32, &Hung)]) -> Self {
        let radius_mm = tree.inside_mm / 2.0;
        let mut map = Self {
            radius_mm,
            height_mm: tree.height_mm,
            around_mm: std::f64::consts::TAU * radius_mm,
            rim_y: tree.wish.top_mm,
            channels: tree
                .channels_mm
                .iter()
                .map(|[x, y]| (*x, -y, tree.channel_mm / 2.0))
                .collect(),
            ..Self::default()
        };
        for rod in &tree.sprue {
            let upright = rod.from_mm[..2] == rod.to_mm[..2];
            if upright {
                map.uprights.push((rod.to_mm[0], -rod.to_mm[1], rod.diameter_mm / 2.0));
                map.tip_mm = map.tip_mm.max(rod.to_mm[2]);
            }
        }
        for &(label, tier, hung) in pieces {
            map.add(label, tier, hung);
        }
        map.tiers.sort_by_key(|tier| tier.1);
        map
    }

    fn add(&mut self, label: &str, tier: i32, hung: &Hung) {
        let at = hung.azimuth_deg / 360.0 * self.around_mm;
        let level = self.height_mm - hung.z_mm;
        self.runners.push(DrawnRunner {
            from: [hung.runner.from_mm[0], -hung.runner.from_mm[1]],
            to: [hung.runner.to_mm[0], -hung.runner.to_mm[1]],
            width: hung.runner.diameter_mm,
            at: [at, level],
        });
        self.above.extend(drawn(label, &hung.above, |[x, y]| [x, -y]));
        let side = |shift: f64| {
            let height_mm = self.height_mm;
            drawn(label, &hung.side, move |[x, z]| [at + x + shift, height_mm - z])
        };
        // What crosses the seam is drawn at both ends.
        let half = hung.side.iter().flatten().map(|p| p[0].abs()).fold(0.0, f64::max);
        let mut shifts = vec![0.0];
        if at < half {
            shifts.push(self.around_mm);
        }
        if at > self.around_mm - half {
            shifts.push(-self.around_mm);
        }
        let both: Vec<DrawnPiece> = shifts.into_iter().filter_map(side).collect();
        self.unrolled.extend(both);
        match self.tiers.iter_mut().find(|known| known.1 == tier) {
            Some(known) => known.0 = known.0.max(level),
            None => self.tiers.push((level, tier)),
        }
    }
}

fn drawn(
    label: &str,
    loops: &[Vec<[f64; 2]>],
    place: impl Fn([f64; 2]) -> [f64; 2],
) -> Option<DrawnPiece> {
    let (mut least, mut greatest) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let mut path = String::new();
    for points in loops {
        for (n, point) in points.iter().enumerate() {
            let p = place(*point);
            for axis in 0..2 {
                least[axis] = least[axis].min(p[axis]);
                greatest[axis] = greatest[axis].max(p[axis]);
            }
            path.push_str(&format!("{}{:.2} {:.2}", if n == 0 { 'M' } else { 'L' }, p[0], p[1]));
        }
        path.push('Z');
    }
    if path.is_empty() {
        return None;
    }
    let size: [f64; 2] = std::array::from_fn(|axis| greatest[axis] - least[axis]);
    // A letter is about 0.6 of its size wide; never smaller than can be read on paper.
    let letters = (size[0] / (label.len().max(1) as f64 * 0.6)).min(size[1] * 0.6).clamp(2.4, 6.0);
    let [x, y] = std::array::from_fn(|axis| f64::midpoint(least[axis], greatest[axis]));
    Some(DrawnPiece { label: label.to_owned(), path, x, y, letters })
}
