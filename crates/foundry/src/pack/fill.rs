//! One flask being filled: each piece at the first place where it is clear of everything.

use super::cover::Ball;
use super::flask::{FlaskKind, Heavy, OnTree, Rod, Sprue, TreeRules};
use super::room::Room;
use super::stance::{Stance, rod_balls};

/// Distance between two heights that are tried.
const RISE_MM: f64 = 2.0;
/// Pieces whose runners leave the sprue within this height are one tier.
const TIER_MM: f64 = 6.0;
/// What stands of the sprue above the topmost runner.
const TIP_MM: f64 = 4.0;

/// A pattern with its ways of hanging.
pub(super) struct Hanging {
    pub(super) stances: Vec<Stance>,
    pub(super) tip: Option<Stance>,
}

/// A place that was taken.
#[derive(Clone, Copy)]
struct Taken {
    piece: usize,
    pattern: usize,
    stance: usize,
    upright: usize,
    azimuth: usize,
    z_mm: f64,
}

/// A flask being filled.
pub(super) struct Filling<'a> {
    rules: &'a TreeRules,
    kind: &'a FlaskKind,
    hanging: &'a [Hanging],
    /// Pieces, channels and the sprue's arms.
    bodies: Room,
    /// Runners.
    runners: Room,
    heights: Vec<f64>,
    turns: Vec<(f32, f32)>,
    uprights: Vec<[f64; 2]>,
    /// For each pattern the places known to be taken: once taken, always taken.
    dead: Vec<Vec<u64>>,
    taken: Vec<Taken>,
}

impl<'a> Filling<'a> {
    pub(super) fn new(rules: &'a TreeRules, kind: &'a FlaskKind, hanging: &'a [Hanging]) -> Self {
        let largest = hanging
            .iter()
            .flat_map(|pattern| &pattern.stances)
            .flat_map(|stance| stance.balls.iter().chain(&stance.runner_balls))
            .map(|ball| ball.radius)
            .fold(0.0, f32::max);
        let reach = rules.apart_mm + f64::from(largest);
        let mut bodies = Room::new(kind.diameter_mm / 2.0, kind.height_mm, reach);
        let runners = bodies.clone();
        // What is fixed is put in thicker or thinner, so that one clearance holds for all.
        let mut fix = |balls: &mut dyn Iterator<Item = Ball>, clear_mm: f64| {
            for ball in balls {
                let radius = (ball.radius + (clear_mm - rules.apart_mm) as f32).max(0.0);
                bodies.put(Ball { radius, ..ball });
            }
        };
        for [x, y] in kind.channels.iter().flat_map(super::flask::Channels::axes_mm) {
            let radius = kind.channels.map_or(0.0, |channels| channels.diameter_mm / 2.0);
            let axis = [[x, y, 0.0], [x, y, kind.height_mm]];
            fix(&mut rod_balls(axis, radius), rules.channel_mm);
        }
        for rod in arms(rules) {
            let balls = &mut rod_balls([rod.from_mm, rod.to_mm], rod.diameter_mm / 2.0);
            fix(balls, rules.sprue_clear_mm);
        }
        let steps = ((kind.height_mm - rules.floor_mm) / RISE_MM).floor().max(0.0) as usize;
        let mut heights: Vec<f64> =
            (0..=steps).map(|n| rules.floor_mm + n as f64 * RISE_MM).collect();
        if rules.heavy == Heavy::High {
            heights.reverse();
        }
        let turns = (0..rules.azimuths)
            .map(|n| {
                let azimuth = std::f32::consts::TAU * n as f32 / rules.azimuths as f32;
                (azimuth.cos(), azimuth.sin())
            })
            .collect();
        let uprights = rules.uprights();
        let dead = vec![Vec::new(); hanging.len()];
        Self {
            rules,
            kind,
            hanging,
            bodies,
            runners,
            heights,
            turns,
            uprights,
            dead,
            taken: Vec::new(),
        }
    }

    pub(super) fn count(&self) -> usize {
        self.taken.len()
    }

    /// Hangs a piece on the tree; whether there was room.
    pub(super) fn hang(&mut self, piece: usize, pattern: usize) -> bool {
        let stances = &self.hanging[pattern].stances;
        let places = self.heights.len() * stances.len() * self.uprights.len() * self.turns.len();
        self.dead[pattern].resize(places.div_ceil(64), 0);
        let mut place = 0;
        for height in 0..self.heights.len() {
            let z_mm = self.heights[height];
            for (stance, standing) in stances.iter().enumerate() {
                let [low, high] = standing.z_mm;
                let fits = z_mm + low >= self.rules.floor_mm
                    && z_mm + high <= self.kind.height_mm - self.rules.top_mm;
                if !fits {
                    place += self.uprights.len() * self.turns.len();
                    continue;
                }
                for upright in 0..self.uprights.len() {
                    for azimuth in 0..self.turns.len() {
                        let (word, bit) = (place / 64, 1_u64 << (place % 64));
                        place += 1;
                        if self.dead[pattern][word] & bit != 0 {
                            continue;
                        }
                        let taken = Taken { piece, pattern, stance, upright, azimuth, z_mm };
                        if self.is_free(&taken) {
                            self.take(taken);
                            return true;
                        }
                        self.dead[pattern][word] |= bit;
                    }
                }
            }
        }
        false
    }

    fn stance(&self, taken: &Taken) -> &'a Stance {
        &self.hanging[taken.pattern].stances[taken.stance]
    }

    fn placed(&self, taken: &Taken, ball: &Ball) -> Ball {
        let (cos, sin) = self.turns[taken.azimuth];
        let [x, y, z] = ball.centre;
        let [at_x, at_y] = self.uprights[taken.upright].map(|c| c as f32);
        let centre = [x * cos - y * sin + at_x, x * sin + y * cos + at_y, z + taken.z_mm as f32];
        Ball { centre, radius: ball.radius }
    }

    fn is_free(&self, taken: &Taken) -> bool {
        let wall = (self.kind.diameter_mm / 2.0 - self.rules.wall_mm) as f32;
        let stance = self.stance(taken);
        if self.uprights.len() == 1 && stance.out_mm as f32 > wall {
            return false;
        }
        let sprue = (self.rules.sprue_radius() + self.rules.sprue_clear_mm) as f32;
        let apart = self.rules.apart_mm as f32;
        let others: Vec<[f32; 2]> = (0..self.uprights.len())
            .filter(|n| *n != taken.upright)
            .map(|n| self.uprights[n].map(|c| c as f32))
            .collect();
        let inside = |ball: &Ball| {
            let [x, y, _] = ball.centre;
            let clear = |[at_x, at_y]: &[f32; 2]| (x - at_x).hypot(y - at_y) - ball.radius >= sprue;
            x.hypot(y) + ball.radius <= wall && others.iter().all(clear)
        };
        stance.balls.iter().all(|ball| {
            let ball = self.placed(taken, ball);
            let clear = apart + ball.radius;
            inside(&ball)
                && self.bodies.is_clear(ball.centre, clear)
                && self.runners.is_clear(ball.centre, clear)
        }) && stance.runner_balls.iter().all(|ball| {
            let ball = self.placed(taken, ball);
            let runners_apart = self.rules.runners_apart_mm as f32 + ball.radius;
            inside(&ball)
                && self.bodies.is_clear(ball.centre, apart + ball.radius)
                && self.runners.is_clear(ball.centre, runners_apart)
        })
    }

    fn take(&mut self, taken: Taken) {
        let stance = self.stance(&taken);
        for ball in &stance.balls {
            let ball = self.placed(&taken, ball);
            self.bodies.put(ball);
        }
        for ball in &stance.runner_balls {
            let ball = self.placed(&taken, ball);
            self.runners.put(ball);
        }
        self.taken.push(taken);
    }

    /// The tree as it stands: its pieces by tier and place, and its sprue cut to length.
    pub(super) fn tree(&self) -> (Vec<OnTree>, Vec<Rod>) {
        let mut pieces: Vec<OnTree> = self.taken.iter().map(|taken| self.on_tree(taken)).collect();
        pieces.sort_by(|a, b| a.z_mm.total_cmp(&b.z_mm).then(a.piece.cmp(&b.piece)));
        let (mut tier, mut begin) = (0, f64::NEG_INFINITY);
        for piece in &mut pieces {
            if piece.z_mm - begin >= TIER_MM {
                (tier, begin) = (tier + 1, piece.z_mm);
            }
            piece.tier = tier;
        }
        let azimuth = |piece: &OnTree| (piece.azimuth_deg * 1000.0).round() as i64;
        pieces.sort_by_key(|piece| (piece.tier, piece.upright, azimuth(piece), piece.piece));
        let mut counted = (0, 0);
        for piece in &mut pieces {
            counted =
                if counted.0 == piece.tier { (piece.tier, counted.1 + 1) } else { (piece.tier, 1) };
            piece.place = counted.1;
        }
        let diameter_mm = 2.0 * self.rules.sprue_radius();
        let mut sprue = arms(self.rules);
        let foot = sprue.first().map_or(0.0, |trunk| trunk.to_mm[2]);
        for (n, &[x, y]) in self.uprights.iter().enumerate() {
            let runners = pieces.iter().filter(|piece| piece.upright == n).map(|piece| piece.z_mm);
            let top = runners.fold(f64::NEG_INFINITY, f64::max);
            if top.is_finite() {
                let to_mm = [x, y, top + TIP_MM];
                sprue.push(Rod { from_mm: [x, y, foot], to_mm, diameter_mm });
            }
        }
        (pieces, sprue)
    }

    fn on_tree(&self, taken: &Taken) -> OnTree {
        let stance = self.stance(taken);
        let azimuth_deg = 360.0 * taken.azimuth as f64 / f64::from(self.rules.azimuths);
        let at = self.uprights[taken.upright];
        let (pose, runner) = turned(stance, azimuth_deg, [at[0], at[1], taken.z_mm]);
        OnTree {
            piece: taken.piece,
            tier: 0,
            place: 0,
            upright: taken.upright,
            z_mm: taken.z_mm,
            azimuth_deg,
            tilt_deg: stance.tilt_deg,
            roll_deg: stance.roll_deg,
            runner: Rod {
                from_mm: runner[0],
                to_mm: runner[1],
                diameter_mm: self.rules.runner_diameter_mm,
            },
            pose,
        }
    }
}

/// A stance turned around its upright and raised.
fn turned(stance: &Stance, azimuth_deg: f64, at: [f64; 3]) -> ([[f64; 4]; 3], [[f64; 3]; 2]) {
    let (sin, cos) = azimuth_deg.to_radians().sin_cos();
    let [px, py, pz] = stance.pose;
    let row = |a: f64, b: f64, shift: f64| {
        let mut row: [f64; 4] = std::array::from_fn(|n| a * px[n] + b * py[n]);
        row[3] += shift;
        row
    };
    let mut up = pz;
    up[3] += at[2];
    let pose = [row(cos, -sin, at[0]), row(sin, cos, at[1]), up];
    let runner = stance
        .runner
        .map(|[x, y, z]| [cos * x - sin * y + at[0], sin * x + cos * y + at[1], z + at[2]]);
    (pose, runner)
}

/// A piece alone on the tip of a short sprue, when it goes into a flask in no other way.
pub(super) fn alone_on_tip(
    rules: &TreeRules,
    kind: &FlaskKind,
    pattern: &Hanging,
    piece: usize,
) -> Option<(Vec<OnTree>, Vec<Rod>)> {
    let stance = pattern.tip.as_ref()?;
    let [diameter_mm, height_mm] = needed_on_tip(rules, stance);
    if diameter_mm > kind.diameter_mm || height_mm > kind.height_mm {
        return None;
    }
    let tip = rules.floor_mm - stance.z_mm[0].min(0.0);
    // Channels stand along the wall; whoever reaches one of them is not tried further.
    let near_channel = kind.channels.is_some_and(|channels| {
        let inner = channels.from_axis_mm - channels.diameter_mm / 2.0 - rules.channel_mm;
        channels.count > 0 && stance.out_mm > inner
    });
    if near_channel {
        return None;
    }
    let diameter_mm = 2.0 * rules.sprue_radius();
    let (pose, _) = turned(stance, 0.0, [0.0, 0.0, tip]);
    let end = [0.0, 0.0, tip + 1.0];
    let sprue = Rod { from_mm: [0.0; 3], to_mm: end, diameter_mm };
    let on = OnTree {
        piece,
        tier: 1,
        place: 1,
        upright: 0,
        z_mm: tip,
        azimuth_deg: 0.0,
        tilt_deg: 90.0,
        roll_deg: 0.0,
        runner: Rod { from_mm: [0.0, 0.0, tip], to_mm: end, diameter_mm: rules.runner_diameter_mm },
        pose,
    };
    Some((vec![on], vec![sprue]))
}

fn needed_on_tip(rules: &TreeRules, stance: &Stance) -> [f64; 2] {
    let tip = rules.floor_mm - stance.z_mm[0].min(0.0);
    [2.0 * (stance.out_mm + rules.wall_mm), tip + stance.z_mm[1] + rules.top_mm]
}

/// Inside diameter and height of the least flask, by volume, that takes a piece by itself.
pub(super) fn needed(rules: &TreeRules, pattern: &Hanging) -> [f64; 2] {
    let spread = rules.uprights().first().map_or(0.0, |[x, y]| x.hypot(*y));
    let hung = pattern.stances.iter().map(|stance| {
        let high = rules.floor_mm + stance.high_mm() + rules.top_mm;
        [2.0 * (spread + stance.out_mm + rules.wall_mm), high]
    });
    let tip = pattern.tip.iter().map(|stance| needed_on_tip(rules, stance));
    let volume = |[diameter, height]: &[f64; 2]| diameter * diameter * height;
    hung.chain(tip).min_by(|a, b| volume(a).total_cmp(&volume(b))).unwrap_or([f64::INFINITY; 2])
}

/// The trunk and arms below the branches; nothing for a straight sprue.
fn arms(rules: &TreeRules) -> Vec<Rod> {
    let Sprue::Branching { diameter_mm, .. } = rules.sprue else { return Vec::new() };
    // Below the floor that pieces keep to, so that it is out of their way.
    let level = (rules.floor_mm - diameter_mm / 2.0).max(diameter_mm / 2.0);
    let parting = [0.0, 0.0, level];
    let mut arms = vec![Rod { from_mm: [0.0; 3], to_mm: parting, diameter_mm }];
    for [x, y] in rules.uprights() {
        arms.push(Rod { from_mm: parting, to_mm: [x, y, level], diameter_mm });
    }
    arms
}
