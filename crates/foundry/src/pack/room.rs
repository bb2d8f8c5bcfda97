//! The free room in a flask: how far each place is from what stands there already.

use super::cover::Ball;

/// Distance between two nodes of the grid.
const STEP_MM: f32 = 1.25;

/// Distances from nodes of a grid to the nearest thing in the flask, as far as they are below
/// `reach_mm`.
#[derive(Clone)]
pub(super) struct Room {
    /// Half the width of the grid, from the flask's axis.
    half_mm: f32,
    counts: [usize; 3],
    reach_mm: f32,
    away_mm: Vec<f32>,
}

impl Room {
    /// An empty flask; distances up to `reach_mm` will be asked for.
    pub(super) fn new(radius_mm: f64, height_mm: f64, reach_mm: f64) -> Self {
        let half_mm = radius_mm as f32 + STEP_MM;
        let across = (2.0 * half_mm / STEP_MM).ceil() as usize + 2;
        let high = (height_mm as f32 / STEP_MM).ceil() as usize + 3;
        // One step more, so that the nearest node of a point that is clear can say so.
        let reach_mm = reach_mm as f32 + STEP_MM;
        let counts = [across, across, high];
        Self { half_mm, counts, reach_mm, away_mm: vec![reach_mm; across * across * high] }
    }

    fn index(&self, cell: [usize; 3]) -> usize {
        cell[0] + self.counts[0] * (cell[1] + self.counts[1] * cell[2])
    }

    fn origin(&self) -> [f32; 3] {
        [-self.half_mm, -self.half_mm, -STEP_MM]
    }

    /// Puts a ball into the flask.
    pub(super) fn put(&mut self, ball: Ball) {
        let origin = self.origin();
        let reach = self.reach_mm + ball.radius;
        // The nodes along an axis that are at most so far from the ball's middle.
        let near = |axis: usize, far: f32| {
            let low = ((ball.centre[axis] - far - origin[axis]) / STEP_MM).ceil().max(0.0) as usize;
            let high = ((ball.centre[axis] + far - origin[axis]) / STEP_MM).floor();
            low..((high.max(-1.0) + 1.0) as usize).min(self.counts[axis])
        };
        let square = |axis: usize, n: i32| {
            let d = origin[axis] + n as f32 * STEP_MM - ball.centre[axis];
            d * d
        };
        for z in near(2, reach) {
            for y in near(1, reach) {
                let across = square(2, z as i32) + square(1, y as i32);
                // Row by row within the reach, a hair more for rounding: in a plain loop, which
                // the compiler does for several nodes at a time.
                let half = (reach * reach - across).max(0.0).sqrt() + 0.01 * STEP_MM;
                let xs = near(0, half.min(reach));
                let first = self.index([xs.start, y, z]);
                let from = xs.start as i32;
                let Some(row) = self.away_mm.get_mut(first..first + xs.len()) else { continue };
                for (n, kept) in row.iter_mut().enumerate() {
                    let away = (across + square(0, from + n as i32)).sqrt() - ball.radius;
                    *kept = if away < *kept { away } else { *kept };
                }
            }
        }
    }

    /// Whether everything in the flask is at least so far from a point, for certain. What is not
    /// certain, because it is nearly as far, counts as not.
    pub(super) fn is_clear(&self, point: [f32; 3], clearance_mm: f32) -> bool {
        let origin = self.origin();
        let mut low = [0; 3];
        let mut part = [0.0; 3];
        for axis in 0..3 {
            let at = (point[axis] - origin[axis]) / STEP_MM;
            if at < 0.0 || at >= (self.counts[axis] - 1) as f32 {
                return false;
            }
            low[axis] = at as usize;
            part[axis] = at - low[axis] as f32;
        }
        let base = self.index(low);
        // The nearest corner settles most cases.
        let near = std::array::from_fn(|axis| low[axis] + usize::from(part[axis] >= 0.5));
        let square: f32 = part.iter().map(|part| part.min(1.0 - part).powi(2)).sum();
        let (away, off) = (self.away_mm[self.index(near)], square.sqrt() * STEP_MM);
        if away - off >= clearance_mm {
            return true;
        }
        if away + off < clearance_mm {
            return false;
        }
        let strides = [1, self.counts[0], self.counts[0] * self.counts[1]];
        // A distance changes by no more than the way gone: each corner of the cell gives a bound,
        // the corner behind the nearest thing the best.
        (0..8_usize).any(|corner| {
            let mut at = base;
            let mut square = 0.0;
            for (axis, stride) in strides.iter().enumerate() {
                let upper = corner >> axis & 1 == 1;
                if upper {
                    at += stride;
                }
                let d = if upper { 1.0 - part[axis] } else { part[axis] };
                square += d * d;
            }
            self.away_mm[at] - square.sqrt() * STEP_MM >= clearance_mm
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_called_clear_is_clear_and_little_more_is_lost() {
        let mut room = Room::new(30.0, 60.0, 5.0);
        let ball = Ball { centre: [3.3, -4.1, 20.7], radius: 2.0 };
        room.put(ball);
        let (mut clear, mut lost) = (0, 0);
        for n in 0..4000_u32 {
            let spread = |k: u32, most: f32| ((n * k) % 1009) as f32 / 1009.0 * most;
            let point =
                [spread(17, 16.0) - 5.0, spread(101, 16.0) - 12.0, spread(331, 20.0) + 10.0];
            let square: f32 = (0..3).map(|a| (point[a] - ball.centre[a]).powi(2)).sum();
            let away = square.sqrt() - ball.radius;
            let said = room.is_clear(point, 3.0);
            assert!(!said || away >= 3.0 - 1e-4, "{point:?} is {away} away");
            clear += usize::from(said);
            lost += usize::from(!said && away > 3.6);
        }
        assert!(clear > 500);
        assert!(lost < 40, "{lost} points were not seen to be clear");
    }
}
