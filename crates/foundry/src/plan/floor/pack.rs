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

/// Starts of the relaxation that are tried before giving up.
const STARTS: usize = 60;
/// Starts after which circles that still overlap clearly are given up.
const FEW_STARTS: usize = 8;
/// Rounds of one relaxation.
const ROUNDS: usize = 240;
/// Circles that cover more of the floor than this are not tried: the densest
/// packing of equal circles in the plane covers 0.9069 of it.
const MOST_COVERED: f64 = 0.92;

impl Floor {
    /// Places circles of these diameters, given in falling order; none when no places were found.
    pub(crate) fn pack(&self, diameters_mm: &[f64]) -> Option<Vec<(f64, f64)>> {
        if diameters_mm.is_empty() {
            return Some(Vec::new());
        }
        if self.too_small_for(diameters_mm) || self.covered(diameters_mm) > MOST_COVERED {
            return None;
        }
        let mut packing = Packing::new(self, diameters_mm);
        packing.by_corners().or_else(|| packing.by_relaxation())
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

    /// All circles at once from random places: overlapping ones push each other apart.
    fn by_relaxation(&mut self) -> Option<Vec<(f64, f64)>> {
        let count = self.radii.len();
        let smallest = self.radii.iter().copied().fold(f64::INFINITY, f64::min);
        let mut places: Vec<(f64, f64)> = Vec::new();
        let mut least_overlap = f64::INFINITY;
        for start in 0..STARTS {
            if start >= FEW_STARTS && least_overlap > 0.06 * smallest {
                return None;
            }
            if start % 6 == 0 || places.len() != count {
                places = (0..count).map(|circle| self.anywhere(circle)).collect();
            } else {
                // Move the circle that is squeezed most to somewhere else.
                let worst = self.most_squeezed(&places);
                places[worst] = self.anywhere(worst);
            }
            let overlap = self.relax(&mut places);
            if overlap <= 0.0 {
                return Some(places);
            }
            least_overlap = least_overlap.min(overlap);
        }
        None
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
