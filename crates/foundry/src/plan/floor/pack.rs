//! Packing circles of several sizes into a rectangle.

use std::f64::consts::PI;

use crate::random::Random;

/// A rectangular floor with the free space it asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Floor {
    /// Along x.
    pub(crate) width_mm: f64,
    /// Along y.
    pub(crate) depth_mm: f64,
    /// Between two circles.
    pub(crate) between_mm: f64,
    /// Between a circle and a wall.
    pub(crate) wall_mm: f64,
}

/// How long places are looked for before circles are given up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Patience {
    /// Starts of the relaxation.
    starts: usize,
    /// Starts after which circles that still overlap clearly are given up.
    few: usize,
}

impl Patience {
    /// For a first plan, which is to be there at once.
    pub(crate) const SHORT: Self = Self { starts: 60, few: 8 };
    /// Finds nearly all that is found by more: of 695 sets of flasks on the floors of the sample
    /// problems that fit, 686, where the short one finds 662.
    pub(crate) const LONG: Self = Self { starts: 400, few: 100 };
}

/// A run of starts ends when so many in a row were no better.
const RUN: usize = 16;
/// Rounds of one relaxation.
const ROUNDS: usize = 240;
/// Circles that cover more of the floor than this are not tried: the densest
/// packing of equal circles in the plane covers 0.9069 of it.
const MOST_COVERED: f64 = 0.92;

impl Floor {
    /// Places circles of these diameters, given in falling order; none when no places were found.
    pub(crate) fn pack(&self, diameters_mm: &[f64], patience: Patience) -> Option<Vec<(f64, f64)>> {
        if diameters_mm.is_empty() {
            return Some(Vec::new());
        }
        if self.too_small_for(diameters_mm) || self.covered(diameters_mm) > MOST_COVERED {
            return None;
        }
        let mut packing = Packing::new(self, diameters_mm);
        packing.by_corners().or_else(|| packing.by_relaxation(patience))
    }

    /// True only when it is certain that circles of these diameters do not fit.
    ///
    /// Certain by size of one, by two that cannot lie side by side or
    /// diagonally, or by area: circles grown by half the free space between
    /// them do not overlap and lie in the floor less the rest of the wall's.
    pub(crate) fn too_small_for(&self, diameters_mm: &[f64]) -> bool {
        let room = |d: f64, side: f64| side - d - 2.0 * self.wall_mm;
        if diameters_mm
            .iter()
            .any(|&d| room(d, self.width_mm) < 0.0 || room(d, self.depth_mm) < 0.0)
        {
            return true;
        }
        if let [a, b, ..] = diameters_mm {
            let mean = (a + b) / 2.0;
            let farthest = room(mean, self.width_mm).hypot(room(mean, self.depth_mm));
            if farthest < mean + self.between_mm {
                return true;
            }
        }
        self.covered(diameters_mm) > 1.0
    }

    /// The share of the floor that is covered by circles grown by half the
    /// free space between them.
    fn covered(&self, diameters_mm: &[f64]) -> f64 {
        let half = self.between_mm / 2.0;
        // The free space at the wall may be less than half that between circles.
        let inset = self.wall_mm - half;
        let area = (self.width_mm - 2.0 * inset) * (self.depth_mm - 2.0 * inset);
        let circles: f64 =
            diameters_mm.iter().map(|d| PI * (d / 2.0 + half) * (d / 2.0 + half)).sum();
        circles / area
    }
}

/// Circles being placed.
struct Packing<'a> {
    floor: &'a Floor,
    /// Half of each diameter.
    radii: Vec<f64>,
    random: Random,
}

impl<'a> Packing<'a> {
    fn new(floor: &'a Floor, diameters_mm: &[f64]) -> Self {
        // The same circles always meet the same random numbers.
        let mut seed = diameters_mm.len() as u64;
        for d in diameters_mm.iter().chain([&floor.width_mm, &floor.depth_mm]) {
            seed = Random::new(seed ^ d.to_bits()).bits();
        }
        let radii = diameters_mm.iter().map(|d| d / 2.0).collect();
        Self { floor, radii, random: Random::new(seed) }
    }

    /// Least and greatest x and y of the centre of a circle.
    fn range(&self, circle: usize) -> (f64, f64, f64, f64) {
        let from = self.radii[circle] + self.floor.wall_mm;
        (from, self.floor.width_mm - from, from, self.floor.depth_mm - from)
    }

    fn apart(&self, a: usize, b: usize) -> f64 {
        self.radii[a] + self.radii[b] + self.floor.between_mm
    }

    /// Whether a circle may stand at a place beside those placed.
    fn free(&self, circle: usize, at: (f64, f64), placed: &[(usize, (f64, f64))]) -> bool {
        let (x0, x1, y0, y1) = self.range(circle);
        let inside = at.0 >= x0 && at.0 <= x1 && at.1 >= y0 && at.1 <= y1;
        inside
            && placed.iter().all(|&(other, place)| {
                (at.0 - place.0).hypot(at.1 - place.1) >= self.apart(circle, other)
            })
    }

    /// One circle after the other into corners: of walls, of a wall and a
    /// circle, or between two circles. Exact where circles just touch.
    fn by_corners(&mut self) -> Option<Vec<(f64, f64)>> {
        let count = self.radii.len();
        for attempt in 0..8 + 4 * count {
            let mut order: Vec<usize> = (0..count).collect();
            if attempt > 3 {
                // Swap a few neighbours: large before small stays the rule.
                for _ in 0..attempt % 7 {
                    let at = self.random.below(count.max(2) - 1);
                    if at + 1 < count {
                        order.swap(at, at + 1);
                    }
                }
            }
            let mut placed: Vec<(usize, (f64, f64))> = Vec::with_capacity(count);
            for circle in order {
                let Some(place) = self.best_corner(circle, &placed, attempt) else { break };
                placed.push((circle, place));
            }
            if placed.len() == count {
                placed.sort_unstable_by_key(|one| one.0);
                return Some(placed.into_iter().map(|one| one.1).collect());
            }
        }
        None
    }

    /// A free corner for a circle; which of them depends on the attempt.
    fn best_corner(
        &mut self,
        circle: usize,
        placed: &[(usize, (f64, f64))],
        attempt: usize,
    ) -> Option<(f64, f64)> {
        let (x0, x1, y0, y1) = self.range(circle);
        let mut corners = vec![(x0, y0), (x1, y0), (x0, y1), (x1, y1)];
        for (position, &(other, at)) in placed.iter().enumerate() {
            let reach = self.apart(circle, other);
            for x in [x0, x1] {
                let rise = reach * reach - (x - at.0) * (x - at.0);
                if rise >= 0.0 {
                    corners.extend([(x, at.1 + rise.sqrt()), (x, at.1 - rise.sqrt())]);
                }
            }
            for y in [y0, y1] {
                let run = reach * reach - (y - at.1) * (y - at.1);
                if run >= 0.0 {
                    corners.extend([(at.0 + run.sqrt(), y), (at.0 - run.sqrt(), y)]);
                }
            }
            for &(third, third_at) in &placed[..position] {
                corners.extend(touching(at, reach, third_at, self.apart(circle, third)));
            }
        }
        let mut best: Option<(f64, (f64, f64))> = None;
        for corner in corners {
            let Some(corner) = self.nudged(circle, corner, placed) else { continue };
            let worth = match attempt % 4 {
                0 => corner.0 + corner.1 * 1e-3,
                1 => corner.1 + corner.0 * 1e-3,
                // Along the walls first.
                2 => (corner.0 - x0).min(x1 - corner.0) + (corner.1 - y0).min(y1 - corner.1),
                _ => self.random.unit(),
            };
            if best.is_none_or(|(least, _)| worth < least) {
                best = Some((worth, corner));
            }
        }
        best.map(|one| one.1)
    }

    /// The corner itself when it is free, or a place a rounding error away.
    fn nudged(
        &self,
        circle: usize,
        corner: (f64, f64),
        placed: &[(usize, (f64, f64))],
    ) -> Option<(f64, f64)> {
        if self.free(circle, corner, placed) {
            return Some(corner);
        }
        const STEP: f64 = 1e-9;
        [(STEP, 0.0), (-STEP, 0.0), (0.0, STEP), (0.0, -STEP)]
            .into_iter()
            .map(|(dx, dy)| (corner.0 + dx, corner.1 + dy))
            .find(|&near| self.free(circle, near, placed))
    }

    /// All circles at once: overlapping ones push each other apart, from random places and then
    /// again and again from the best places of the run, with one circle moved or two exchanged.
    ///
    /// # Source
    /// Monotonic basin hopping, as for circles in A. Grosso, A. Jamali, M. Locatelli, F. Schoen,
    /// "Solving the problem of packing equal and unequal circles in a circular container",
    /// J. Global Optim. 47 (2010) 63.
    fn by_relaxation(&mut self, patience: Patience) -> Option<Vec<(f64, f64)>> {
        let count = self.radii.len();
        let smallest = self.radii.iter().copied().fold(f64::INFINITY, f64::min);
        let mut least_overlap = f64::INFINITY;
        let mut best: Vec<(f64, f64)> = Vec::new();
        let mut best_overlap = f64::INFINITY;
        let mut failures = RUN;
        for start in 0..patience.starts {
            if start >= patience.few && least_overlap > 0.06 * smallest {
                return None;
            }
            let mut places = if failures >= RUN {
                failures = 0;
                best_overlap = f64::INFINITY;
                (0..count).map(|circle| self.anywhere(circle)).collect()
            } else {
                self.changed(&best)
            };
            let overlap = self.relax(&mut places);
            if overlap <= 0.0 {
                return Some(places);
            }
            if overlap < best_overlap {
                best = places;
                best_overlap = overlap;
                failures = 0;
            } else {
                failures += 1;
            }
            least_overlap = least_overlap.min(overlap);
        }
        None
    }

    /// The places with the circle that is squeezed most somewhere else, alone or for another.
    fn changed(&mut self, places: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let mut places = places.to_vec();
        let worst = if self.random.below(4) == 0 {
            self.random.below(places.len())
        } else {
            self.most_squeezed(&places)
        };
        let other = self.random.below(places.len());
        if self.random.below(2) == 0 && self.radii[other] != self.radii[worst] {
            places.swap(worst, other);
            places[worst] = self.inside(worst, places[worst]);
            places[other] = self.inside(other, places[other]);
        } else {
            places[worst] = self.anywhere(worst);
        }
        places
    }

    fn anywhere(&mut self, circle: usize) -> (f64, f64) {
        let (x0, x1, y0, y1) = self.range(circle);
        (x0 + (x1 - x0) * self.random.unit(), y0 + (y1 - y0) * self.random.unit())
    }

    fn most_squeezed(&self, places: &[(f64, f64)]) -> usize {
        let squeeze = |a: usize| -> f64 {
            (0..places.len())
                .filter(|&b| b != a)
                .map(|b| {
                    let far = (places[a].0 - places[b].0).hypot(places[a].1 - places[b].1);
                    (self.apart(a, b) - far).max(0.0)
                })
                .sum()
        };
        (0..places.len()).max_by(|&a, &b| squeeze(a).total_cmp(&squeeze(b))).unwrap_or(0)
    }

    /// Pushes overlapping circles apart; the greatest overlap that is left.
    fn relax(&mut self, places: &mut [(f64, f64)]) -> f64 {
        // A little more than needed, so that the end is reached in finite time.
        const MARGIN: f64 = 1e-6;
        let mut worst = 0.0;
        let mut worst_before = f64::INFINITY;
        for round in 1..=ROUNDS {
            worst = 0.0_f64;
            for a in 1..places.len() {
                for b in 0..a {
                    let (dx, dy) = (places[a].0 - places[b].0, places[a].1 - places[b].1);
                    let needed = self.apart(a, b);
                    let squared = dx * dx + dy * dy;
                    if squared > needed * needed {
                        continue;
                    }
                    let far = dx.hypot(dy);
                    if far >= needed {
                        continue;
                    }
                    worst = worst.max(needed - far);
                    let (ux, uy) = if far > 1e-9 { (dx / far, dy / far) } else { (1.0, 0.0) };
                    let push = 0.5 * (needed - far) + MARGIN;
                    places[a] = self.inside(a, (places[a].0 + ux * push, places[a].1 + uy * push));
                    places[b] = self.inside(b, (places[b].0 - ux * push, places[b].1 - uy * push));
                }
            }
            if worst <= 0.0 {
                return 0.0;
            }
            if round % 30 == 0 {
                if worst > 0.97 * worst_before {
                    return worst;
                }
                worst_before = worst;
            }
        }
        worst
    }

    fn inside(&self, circle: usize, at: (f64, f64)) -> (f64, f64) {
        let (x0, x1, y0, y1) = self.range(circle);
        (at.0.clamp(x0, x1), at.1.clamp(y0, y1))
    }
}

/// The points at given distances from two others.
fn touching(a: (f64, f64), from_a: f64, b: (f64, f64), from_b: f64) -> Vec<(f64, f64)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let far = dx.hypot(dy);
    if far < 1e-9 || far > from_a + from_b {
        return Vec::new();
    }
    let along = (far * far + from_a * from_a - from_b * from_b) / (2.0 * far);
    let aside = from_a * from_a - along * along;
    if aside < 0.0 {
        return Vec::new();
    }
    let aside = aside.sqrt();
    let (ux, uy) = (dx / far, dy / far);
    let foot = (a.0 + ux * along, a.1 + uy * along);
    vec![(foot.0 - uy * aside, foot.1 + ux * aside), (foot.0 + uy * aside, foot.1 - ux * aside)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sets for which an own search with another library found places (scipy's L-BFGS-B from many
    /// beginnings, `tests/outside/cp_sat_floor.py`) and a short search here does not: a floor, and
    /// how many flasks of 127, 89 and 64 mm stand on it.
    const HARD: [(f64, f64, [usize; 3]); 13] = [
        (400.0, 360.0, [3, 5, 4]),
        (400.0, 360.0, [5, 0, 5]),
        (400.0, 360.0, [0, 10, 5]),
        (400.0, 360.0, [1, 7, 7]),
        (400.0, 360.0, [0, 7, 10]),
        (400.0, 360.0, [1, 4, 12]),
        (400.0, 360.0, [0, 6, 12]),
        (400.0, 360.0, [2, 0, 16]),
        (400.0, 360.0, [0, 2, 19]),
        (320.0, 300.0, [2, 3, 2]),
        (320.0, 300.0, [1, 4, 4]),
        (320.0, 300.0, [2, 1, 6]),
        (320.0, 300.0, [2, 0, 8]),
    ];

    #[test]
    fn what_another_search_placed_is_placed_here_too() {
        for (width_mm, depth_mm, counts) in HARD {
            let floor = Floor { width_mm, depth_mm, between_mm: 10.0, wall_mm: 15.0 };
            let diameters_mm: Vec<f64> = [127.0, 89.0, 64.0]
                .into_iter()
                .zip(counts)
                .flat_map(|(diameter_mm, count)| std::iter::repeat_n(diameter_mm, count))
                .collect();
            let places = floor.pack(&diameters_mm, Patience::LONG);
            let places = places.unwrap_or_else(|| panic!("{counts:?} on {width_mm} × {depth_mm}"));
            assert_eq!(places.len(), diameters_mm.len());
            for (n, (&(x, y), d)) in places.iter().zip(&diameters_mm).enumerate() {
                let least = d / 2.0 + 15.0;
                assert!((least..=width_mm - least).contains(&x), "{x} of {counts:?}");
                assert!((least..=depth_mm - least).contains(&y), "{y} of {counts:?}");
                for (&(other_x, other_y), other) in places.iter().zip(&diameters_mm).take(n) {
                    let far = (x - other_x).hypot(y - other_y);
                    assert!(far >= (d + other) / 2.0 + 10.0 - 1e-9, "{far} of {counts:?}");
                }
            }
        }
    }
}
