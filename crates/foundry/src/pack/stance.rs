//! The ways in which a piece may hang on an upright, before it is turned around it and raised.

use super::attach::Attachment;
use super::cover::Ball;
use super::flask::TreeRules;
use crate::mesh::{Point, vec3};

/// Rows of a rotation, each with a shift.
pub(super) type Pose = [[f64; 4]; 3];

/// A piece with its runner along x, the upright's axis being z and the runner leaving it at z = 0.
pub(super) struct Stance {
    pub(super) tilt_deg: f64,
    pub(super) roll_deg: f64,
    pub(super) runner: [Point; 2],
    pub(super) pose: Pose,
    /// The balls of the piece, mixed so that a few stand for all.
    pub(super) balls: Vec<Ball>,
    /// The balls of its runner.
    pub(super) runner_balls: Vec<Ball>,
    /// Lowest and highest point.
    pub(super) z_mm: [f64; 2],
    /// Farthest from the upright's axis.
    pub(super) out_mm: f64,
    /// Angle it takes up around the upright.
    pub(super) around_deg: f64,
}

impl Stance {
    pub(super) fn high_mm(&self) -> f64 {
        self.z_mm[1] - self.z_mm[0]
    }
}

/// Most ways that are kept for a piece.
const MOST: usize = 20;

/// All ways in which a piece keeps clear of the upright that bears it.
pub(super) fn stances(balls: &[Ball], join: &Attachment, rules: &TreeRules) -> Vec<Stance> {
    let mut stances = Vec::new();
    for &tilt_deg in &rules.tilts_deg {
        for &runner_mm in &rules.runner_lengths_mm {
            for roll in 0..rules.rolls {
                let roll_deg = 360.0 * f64::from(roll) / f64::from(rules.rolls);
                stances.extend(stance(balls, join, rules, tilt_deg, roll_deg, runner_mm));
            }
        }
    }
    // The narrow and low ones pack best; a stable sort keeps preferred tilts and short runners first.
    let size =
        |stance: &Stance| (stance.around_deg * stance.high_mm() * stance.out_mm).round() as i64;
    stances.sort_by_key(size);
    stances.truncate(MOST);
    stances
}

/// A piece on the end of an upright, for those that go in no other way.
pub(super) fn on_the_tip(balls: &[Ball], join: &Attachment, rules: &TreeRules) -> Option<Stance> {
    let stance = hung(balls, join, rules, [[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]], 90.0, 0.0)?;
    let own = (rules.sprue_radius() + rules.sprue_clear_mm) as f32;
    // It may not reach down around the sprue.
    let clear = |ball: &Ball| {
        let [x, y, z] = ball.centre;
        z >= 0.0 || x.hypot(y) - ball.radius >= own
    };
    stance.balls.iter().all(clear).then_some(stance)
}

fn stance(
    balls: &[Ball],
    join: &Attachment,
    rules: &TreeRules,
    tilt_deg: f64,
    roll_deg: f64,
    runner_mm: f64,
) -> Option<Stance> {
    let (sin, cos) = tilt_deg.to_radians().sin_cos();
    let start = [rules.sprue_radius(), 0.0, 0.0];
    let end = [start[0] + runner_mm * cos, 0.0, runner_mm * sin];
    let stance = hung(balls, join, rules, [start, end], tilt_deg, roll_deg)?;
    let own = rules.sprue_radius() + rules.sprue_clear_mm;
    let clear = balls.iter().all(|ball| {
        let [x, y, _] = moved(&stance.pose, ball.centre.map(f64::from));
        x.hypot(y) - f64::from(ball.radius) >= own
    });
    clear.then_some(stance)
}

pub(super) fn moved(pose: &Pose, [x, y, z]: Point) -> Point {
    pose.map(|row| row[0] * x + row[1] * y + row[2] * z + row[3])
}

/// Hangs a piece on the end of a runner so that it leads on straight out of the runner.
fn hung(
    balls: &[Ball],
    join: &Attachment,
    rules: &TreeRules,
    runner: [Point; 2],
    tilt_deg: f64,
    roll_deg: f64,
) -> Option<Stance> {
    let along = vec3::unit(vec3::sub(runner[1], runner[0]));
    let pose = pose_of(join, along, runner[1], roll_deg)?;
    let placed: Vec<Ball> = balls
        .iter()
        .map(|ball| Ball {
            centre: moved(&pose, ball.centre.map(f64::from)).map(|c| c as f32),
            radius: ball.radius + 1e-4,
        })
        .collect();
    let rod = (tilt_deg < 90.0).then(|| rod_balls(runner, rules.runner_diameter_mm / 2.0));
    let runner_balls: Vec<Ball> = rod.into_iter().flatten().collect();
    let mut z_mm = [f64::INFINITY, f64::NEG_INFINITY];
    let (mut out_mm, mut left, mut right) = (0.0_f64, 0.0_f64, 0.0_f64);
    for ball in placed.iter().chain(&runner_balls) {
        let [x, y, z] = ball.centre.map(f64::from);
        let radius = f64::from(ball.radius);
        z_mm = [z_mm[0].min(z - radius), z_mm[1].max(z + radius)];
        out_mm = out_mm.max(x.hypot(y) + radius);
        let azimuth = y.atan2(x).to_degrees();
        (left, right) = (left.min(azimuth), right.max(azimuth));
    }
    let around_deg = right - left;
    Some(Stance {
        tilt_deg,
        roll_deg,
        runner,
        pose,
        balls: placed,
        runner_balls,
        z_mm,
        out_mm,
        around_deg,
    })
}

/// Turns the model so that the way out of it at the joint runs back along the runner.
fn pose_of(join: &Attachment, along: Point, end: Point, roll_deg: f64) -> Option<Pose> {
    let n = vec3::unit(join.outwards);
    if n == [0.0; 3] {
        return None;
    }
    let beside = |n: Point| {
        // The axis that is least along it gives the best defined direction beside it.
        let least = (0..3).min_by(|&a, &b| n[a].abs().total_cmp(&n[b].abs())).unwrap_or(0);
        let mut axis = [0.0; 3];
        axis[least] = 1.0;
        vec3::unit(vec3::cross(n, axis))
    };
    let t = beside(n);
    let b = vec3::cross(n, t);
    let back = vec3::scale(along, -1.0);
    let (sin, cos) = roll_deg.to_radians().sin_cos();
    let beside_back = beside(back);
    let across = vec3::cross(back, beside_back);
    let t_to = vec3::add(vec3::scale(beside_back, cos), vec3::scale(across, sin));
    let b_to = vec3::cross(back, t_to);
    let mut pose = [[0.0; 4]; 3];
    for (row, line) in pose.iter_mut().enumerate() {
        for column in 0..3 {
            line[column] = back[row] * n[column] + t_to[row] * t[column] + b_to[row] * b[column];
        }
        line[3] = end[row] - (0..3).map(|c| line[c] * join.at_mm[c]).sum::<f64>();
    }
    Some(pose)
}

/// Balls along a rod that hold all of it, its ends rounded.
pub(super) fn rod_balls([from, to]: [Point; 2], radius: f64) -> impl Iterator<Item = Ball> {
    let length = vec3::distance(from, to);
    let count = (length / 0.8).ceil().max(1.0) as usize;
    let half = length / count as f64 / 2.0;
    (0..=count).map(move |n| {
        let share = n as f64 / count as f64;
        let centre = vec3::add(from, vec3::scale(vec3::sub(to, from), share));
        Ball { centre: centre.map(|c| c as f32), radius: (radius.hypot(half) + 1e-4) as f32 }
    })
}
