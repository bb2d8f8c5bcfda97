//! Bounding rectangles set on the plate in shelves.

use crate::quantity::Millimetres;

/// The rectangle round a piece seen from above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rectangle {
    /// Along the width of the plate.
    pub width: Millimetres,
    /// Along its depth.
    pub depth: Millimetres,
}

/// The printer's plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bed {
    /// Its width.
    pub width: Millimetres,
    /// Its depth.
    pub depth: Millimetres,
    /// Kept free between two pieces and along the edge.
    pub clearance: Millimetres,
}

/// Where a rectangle stands: its corner nearest to the plate's front left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// From the left edge.
    pub x: Millimetres,
    /// From the front edge.
    pub y: Millimetres,
    /// Turned by a quarter, so that its width runs along the plate's depth.
    pub turned: bool,
}

/// A row of pieces from left to right.
struct Shelf {
    y_mm: f64,
    depth_mm: f64,
    used_mm: f64,
}

/// Rounding in sums of lengths must not turn a piece away.
const SLACK_MM: f64 = 1e-9;

/// Sets rectangles on the plate in shelves, first fit by falling depth: each goes to
/// the first shelf with room, else onto a new shelf. Three ways of turning are tried (as they
/// are, long side along the width, long side along the depth) and the one that sets most is
/// kept. `None` stands for a piece that found no room. The result is in the order of `pieces`.
///
/// Shelves are a simple method: a closer packing may exist when some find no room.
///
/// # Units
/// Millimetres, seen from above.
///
/// # Source
/// Level-oriented packing, first fit by decreasing height: E. G. Coffman, M. R. Garey,
/// D. S. Johnson, R. E. Tarjan, Performance bounds for level-oriented two-dimensional packing
/// algorithms, SIAM Journal on Computing 9 (1980), 808 to 826 (from memory).
///
/// # Refuses
/// Nothing: what does not fit, or is no rectangle, gets no spot.
#[must_use]
pub fn shelves(bed: &Bed, pieces: &[Rectangle]) -> Vec<Option<Spot>> {
    let ways = [Turning::AsTheyAre, Turning::LongAlongWidth, Turning::LongAlongDepth];
    let mut best: Vec<Option<Spot>> = vec![None; pieces.len()];
    let mut most = 0;
    for way in ways {
        let spots = set(bed, pieces, way);
        let placed = spots.iter().flatten().count();
        if placed > most {
            (best, most) = (spots, placed);
        }
    }
    best
}

#[derive(Clone, Copy)]
enum Turning {
    AsTheyAre,
    LongAlongWidth,
    LongAlongDepth,
}

/// Width, depth and whether turned; none when it does not go on the empty plate either way.
fn turned(bed: &Bed, piece: &Rectangle, way: Turning) -> Option<(f64, f64, bool)> {
    let (width, depth) = (piece.width.get(), piece.depth.get());
    if width <= 0.0 || depth <= 0.0 {
        return None;
    }
    let margin = 2.0 * bed.clearance.get() - SLACK_MM;
    let fits = |w: f64, d: f64| w + margin <= bed.width.get() && d + margin <= bed.depth.get();
    let turn = match way {
        Turning::AsTheyAre => false,
        Turning::LongAlongWidth => depth > width,
        Turning::LongAlongDepth => width > depth,
    };
    let of = |turn: bool| if turn { (depth, width) } else { (width, depth) };
    [turn, !turn].into_iter().find_map(|turn| {
        let (w, d) = of(turn);
        fits(w, d).then_some((w, d, turn))
    })
}

fn set(bed: &Bed, pieces: &[Rectangle], way: Turning) -> Vec<Option<Spot>> {
    let clearance = bed.clearance.get();
    let mut order: Vec<(usize, f64, f64, bool)> = pieces
        .iter()
        .enumerate()
        .filter_map(|(n, piece)| turned(bed, piece, way).map(|(w, d, turn)| (n, w, d, turn)))
        .collect();
    order.sort_by(|a, b| b.2.total_cmp(&a.2).then(b.1.total_cmp(&a.1)).then(a.0.cmp(&b.0)));
    let mut spots = vec![None; pieces.len()];
    let mut shelves: Vec<Shelf> = Vec::new();
    for (n, width, depth, turned) in order {
        let room = |shelf: &Shelf| {
            depth <= shelf.depth_mm + SLACK_MM
                && shelf.used_mm + width + clearance <= bed.width.get() + SLACK_MM
        };
        let found = shelves.iter().position(room).or_else(|| {
            let y_mm = shelves.last().map_or(clearance, |s| s.y_mm + s.depth_mm + clearance);
            (y_mm + depth + clearance <= bed.depth.get() + SLACK_MM).then(|| {
                shelves.push(Shelf { y_mm, depth_mm: depth, used_mm: clearance });
                shelves.len() - 1
            })
        });
        if let Some(shelf) = found.and_then(|n| shelves.get_mut(n)) {
            spots[n] = Some(Spot {
                x: Millimetres::of(shelf.used_mm),
                y: Millimetres::of(shelf.y_mm),
                turned,
            });
            shelf.used_mm += width + clearance;
        }
    }
    spots
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Millimetres {
        Millimetres::new(value).unwrap()
    }

    fn bed(width: f64, depth: f64, clearance: f64) -> Bed {
        Bed { width: mm(width), depth: mm(depth), clearance: mm(clearance) }
    }

    fn rectangle(width: f64, depth: f64) -> Rectangle {
        Rectangle { width: mm(width), depth: mm(depth) }
    }

    /// Corners of what was set, with each piece turned as it stands.
    fn standing(pieces: &[Rectangle], spots: &[Option<Spot>]) -> Vec<(f64, f64, f64, f64)> {
        pieces
            .iter()
            .zip(spots)
            .filter_map(|(piece, spot)| {
                let spot = (*spot)?;
                let (w, d) = if spot.turned {
                    (piece.depth.get(), piece.width.get())
                } else {
                    (piece.width.get(), piece.depth.get())
                };
                Some((spot.x.get(), spot.y.get(), spot.x.get() + w, spot.y.get() + d))
            })
            .collect()
    }

    #[test]
    fn four_squares_fill_a_plate_to_the_last_millimetre() {
        let pieces = vec![rectangle(10.0, 10.0); 5];
        let spots = shelves(&bed(26.0, 26.0, 2.0), &pieces);
        assert_eq!(spots.iter().flatten().count(), 4);
        assert_eq!(spots[4], None, "the fifth finds no room");
    }

    #[test]
    fn a_piece_longer_than_the_plate_is_wide_is_turned() {
        let spots = shelves(&bed(30.0, 60.0, 2.0), &[rectangle(50.0, 20.0)]);
        assert!(spots[0].unwrap().turned);
        assert_eq!(shelves(&bed(30.0, 60.0, 2.0), &[rectangle(57.0, 20.0)]), [None]);
    }

    #[test]
    fn what_is_no_rectangle_gets_no_spot() {
        let spots = shelves(&bed(30.0, 60.0, 2.0), &[rectangle(0.0, 20.0), rectangle(-5.0, 5.0)]);
        assert_eq!(spots, [None, None]);
    }

    #[test]
    fn pieces_keep_their_distance_and_stay_on_the_plate() {
        // A plain congruential sequence: the same pieces each time.
        let mut seed = 20_261_125_u64;
        let mut next = |most: f64| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            3.0 + (seed >> 40) as f64 / (1_u64 << 24) as f64 * most
        };
        for round in 0..60 {
            let bed = bed(60.0 + next(80.0), 40.0 + next(60.0), next(3.0));
            let pieces: Vec<Rectangle> =
                (0..30).map(|_| rectangle(next(35.0), next(35.0))).collect();
            let placed = standing(&pieces, &shelves(&bed, &pieces));
            assert!(!placed.is_empty());
            let gap = bed.clearance.get() - 1e-6;
            for (n, a) in placed.iter().enumerate() {
                assert!(a.0 >= gap && a.1 >= gap, "round {round}: {a:?} at the edge");
                assert!(a.2 + gap <= bed.width.get() && a.3 + gap <= bed.depth.get(), "{a:?}");
                for b in &placed[n + 1..] {
                    let apart = a.2 + gap <= b.0
                        || b.2 + gap <= a.0
                        || a.3 + gap <= b.1
                        || b.3 + gap <= a.1;
                    assert!(apart, "round {round}: {a:?} and {b:?} are too close");
                }
            }
        }
    }
}
