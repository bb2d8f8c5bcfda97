//! How many flasks pieces need at least, whoever packs them.

use super::flask::{FlaskKind, TreeRules};

/// A piece as the bound sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Filled {
    /// Its volume; none when its model is open.
    pub(super) volume_mm3: Option<f64>,
    /// Pieces share a flask only with those of the same group.
    pub(super) group: usize,
}

/// The fewest flasks that take these pieces, whatever tree they hang on.
///
/// Pieces at least `apart_mm` from each other stay disjoint when each is grown by half of that,
/// and stay within a cylinder that is as much larger than the room inside the clearances. A grown
/// piece is no less than a grown ball of the same volume (Brunn and Minkowski). So the grown
/// balls of a flask's pieces are no more than its cylinder; how many flasks that needs, group by
/// group, is a bin packing problem, bounded by its sum and by those pieces of which no two, or
/// none beside a larger one, share a flask.
///
/// The room that sprue, runners and the shape of pieces take is left out of account, so the bound
/// says little for slender pieces and much for stout ones.
///
/// # Source
/// R. J. Gardner, "The Brunn-Minkowski inequality", Bulletin of the American Mathematical Society
/// 39 (2002) 355, inequality (1). S. Martello and P. Toth, "Lower bounds and reduction procedures
/// for the bin packing problem", Discrete Applied Mathematics 28 (1990) 59, bound L2.
pub(super) fn fewest_flasks(kinds: &[FlaskKind], rules: &TreeRules, pieces: &[Filled]) -> usize {
    let half = rules.apart_mm / 2.0;
    let mut rooms: Vec<(f64, usize)> = kinds
        .iter()
        .map(|kind| (room_mm3(kind, rules, half), kind.at_hand.unwrap_or(usize::MAX)))
        .collect();
    rooms.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut groups: Vec<usize> = pieces.iter().map(|piece| piece.group).collect();
    groups.sort_unstable();
    groups.dedup();
    groups
        .into_iter()
        .map(|group| {
            let own = pieces.iter().filter(|piece| piece.group == group);
            let sizes: Vec<f64> =
                own.map(|piece| grown_mm3(piece.volume_mm3.unwrap_or(0.0), half)).collect();
            by_sum(&rooms, &sizes).max(by_size(rooms.first().map_or(0.0, |room| room.0), &sizes))
        })
        .sum()
}

/// A ball of this volume grown all around.
fn grown_mm3(volume_mm3: f64, by_mm: f64) -> f64 {
    const BALL: f64 = 4.0 / 3.0 * std::f64::consts::PI;
    let radius_mm = (volume_mm3.max(0.0) / BALL).cbrt();
    BALL * (radius_mm + by_mm).powi(3)
}

/// The cylinder that grown pieces stay within.
fn room_mm3(kind: &FlaskKind, rules: &TreeRules, half_mm: f64) -> f64 {
    let radius_mm = (kind.diameter_mm / 2.0 - rules.wall_mm + half_mm).max(0.0);
    let height_mm = (kind.height_mm - rules.floor_mm - rules.top_mm + 2.0 * half_mm).max(0.0);
    std::f64::consts::PI * radius_mm * radius_mm * height_mm
}

/// As many of the largest free flasks as hold the sum; at least one for anything at all.
fn by_sum(rooms: &[(f64, usize)], sizes: &[f64]) -> usize {
    let mut left: f64 = sizes.iter().sum();
    let mut flasks = 0;
    for &(room, at_hand) in rooms {
        if left <= 0.0 || room <= 0.0 {
            break;
        }
        // A hair less, for rounding must not ask for a flask more.
        let needed = ((left / room - 1e-9).ceil().max(1.0) as usize).min(at_hand);
        flasks += needed;
        left -= room * needed as f64;
    }
    flasks.max(usize::from(!sizes.is_empty()))
}

/// Bound L2 for flasks of the largest kind: over each size k of at most half the room, pieces of
/// more than the room less k are alone, others of more than half share with none of their like,
/// and those from k to half go into what these leave.
fn by_size(room: f64, sizes: &[f64]) -> usize {
    if room <= 0.0 {
        return 0;
    }
    let room = room * (1.0 + 1e-9);
    let at_most_half = sizes.iter().copied().filter(|&size| size <= room / 2.0);
    let bound = |k: f64| {
        let (mut large, mut left, mut small) = (0, 0.0, 0.0);
        for &size in sizes {
            if size > room - k {
                large += 1;
            } else if size > room / 2.0 {
                large += 1;
                left += room - size;
            } else if size >= k {
                small += size;
            }
        }
        large + (((small - left) / room).ceil().max(0.0) as usize)
    };
    at_most_half.chain([0.0]).map(bound).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bin_packing_bounds_lie_at_or_under_the_best() {
        // By hand, rooms of 100: three of 60 and three of 40 go into three; four of 60 into four;
        // five of 34 into three, two in each.
        assert_eq!(by_size(100.0, &[60.0, 60.0, 60.0, 40.0, 40.0, 40.0]), 3);
        assert_eq!(by_size(100.0, &[60.0; 4]), 4);
        assert_eq!(by_size(100.0, &[34.0; 5]), 2);
        assert_eq!(by_sum(&[(100.0, usize::MAX)], &[34.0; 5]), 2);
        // One large flask is free, then smaller ones: 250 are 100 and three of 50.
        assert_eq!(by_sum(&[(100.0, 1), (50.0, usize::MAX)], &[50.0; 5]), 4);
        assert_eq!(by_sum(&[(100.0, usize::MAX)], &[]), 0);
    }

    #[test]
    fn a_grown_ball_is_a_ball_of_the_larger_radius() {
        let ball = |radius: f64| 4.0 / 3.0 * std::f64::consts::PI * radius.powi(3);
        assert!((grown_mm3(ball(5.0), 1.5) - ball(6.5)).abs() < 1e-9);
    }
}
