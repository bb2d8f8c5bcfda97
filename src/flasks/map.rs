//! The tree map: the tree from above and unrolled, to scale, as paths for SVG.

use super::arrange::{Arranged, Hung, TreeKept};

/// A piece on one of the two drawings.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct DrawnPiece {
    pub(super) label: String,
    pub(super) path: String,
    /// Its tier and its place in it, as `2.1`.
    pub(super) spot: String,
    /// Where that is written: in the middle of the piece, or as near as nothing else is written.
    pub(super) x: f64,
    pub(super) y: f64,
}

/// A piece that hangs on a tree, as it is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct OnTree<'a> {
    pub(super) label: &'a str,
    pub(super) tier: i32,
    pub(super) place: i32,
    pub(super) hung: &'a Hung,
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
    /// Size of the letters from above and unrolled, so that both read alike.
    pub(super) letters: [f64; 2],
}

impl TreeMap {
    /// Draws an arranged tree.
    pub(super) fn of(tree: &TreeKept, pieces: &[Arranged]) -> Self {
        let pieces: Vec<OnTree<'_>> = pieces
            .iter()
            .map(|one| OnTree {
                label: &one.label,
                tier: one.tier,
                place: one.place,
                hung: &one.hung,
            })
            .collect();
        Self::draw(tree, &pieces)
    }

    /// Draws what hangs where the program put it; what was placed by hand is not among it.
    pub(super) fn draw(tree: &TreeKept, pieces: &[OnTree<'_>]) -> Self {
        let radius_mm = tree.inside_mm / 2.0;
        let mut map = Self {
            radius_mm,
            height_mm: tree.height_mm,
            around_mm: std::f64::consts::TAU * radius_mm,
            // The drawings are about as wide as 21 letters and as 62.
            letters: [radius_mm * 2.0 / 21.0, std::f64::consts::TAU * radius_mm / 62.0],
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
        for piece in pieces {
            map.add(piece);
        }
        spread(&mut map.above, map.letters[0], |[x, y]| {
            let far = x.hypot(y).max(1e-9);
            [x / far, y / far]
        });
        spread(&mut map.unrolled, map.letters[1], |_| [0.0, -1.0]);
        map.tiers.sort_by_key(|tier| tier.1);
        map
    }

    fn add(&mut self, piece: &OnTree<'_>) {
        let OnTree { tier, hung, .. } = *piece;
        let at = hung.azimuth_deg / 360.0 * self.around_mm;
        let level = self.height_mm - hung.z_mm;
        self.runners.push(DrawnRunner {
            from: [hung.runner.from_mm[0], -hung.runner.from_mm[1]],
            to: [hung.runner.to_mm[0], -hung.runner.to_mm[1]],
            width: hung.runner.diameter_mm,
            at: [at, level],
        });
        self.above.extend(drawn(piece, &hung.above, |[x, y]| [x, -y]));
        let side = |shift: f64| {
            let height_mm = self.height_mm;
            drawn(piece, &hung.side, move |[x, z]| [at + x + shift, height_mm - z])
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

/// Moves what is written away from what is written already, step by step along a direction.
fn spread(pieces: &mut [DrawnPiece], letters: f64, along: impl Fn([f64; 2]) -> [f64; 2]) {
    const STEPS: i32 = 8;
    let mut written: Vec<([f64; 2], f64)> = Vec::new();
    for piece in pieces {
        // A letter is about 0.6 of its size wide.
        let half = letters * 0.6 * piece.spot.len() as f64 / 2.0;
        let free = |[x, y]: [f64; 2]| {
            written.iter().all(|([other_x, other_y], other)| {
                (x - other_x).abs() > half + other || (y - other_y).abs() > letters
            })
        };
        let (from, way) = ([piece.x, piece.y], along([piece.x, piece.y]));
        // Nearest first, outwards before inwards.
        let steps = (0..=STEPS).flat_map(|n| [f64::from(n), -f64::from(n)]);
        let mut places =
            steps.map(|n| [0, 1].map(|axis| from[axis] + n * letters * 0.6 * way[axis]));
        let [x, y] = places.find(|place| free(*place)).unwrap_or(from);
        (piece.x, piece.y) = (x, y);
        written.push(([x, y], half));
    }
}

fn drawn(
    piece: &OnTree<'_>,
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
    let [x, y] = std::array::from_fn(|axis| f64::midpoint(least[axis], greatest[axis]));
    let spot = format!("{}.{}", piece.tier, piece.place);
    Some(DrawnPiece { label: piece.label.to_owned(), path, spot, x, y })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_written_over_another() {
        let at = |x: f64, y: f64| DrawnPiece {
            label: String::new(),
            path: String::new(),
            spot: "1.1".to_owned(),
            x,
            y,
        };
        let mut pieces = vec![at(10.0, 0.0), at(10.5, 0.2), at(9.5, -0.3), at(-10.0, 4.0)];
        spread(&mut pieces, 4.0, |[x, y]| [x / x.hypot(y), y / x.hypot(y)]);
        assert_eq!([pieces[0].x, pieces[0].y], [10.0, 0.0], "the first stays in its middle");
        assert_eq!([pieces[3].x, pieces[3].y], [-10.0, 4.0], "what is free stays in its middle");
        for (n, one) in pieces.iter().enumerate() {
            for other in &pieces[n + 1..] {
                let clear = (one.x - other.x).abs() > 7.2 || (one.y - other.y).abs() > 4.0;
                assert!(clear, "{one:?} is written over {other:?}");
            }
        }
    }
}
