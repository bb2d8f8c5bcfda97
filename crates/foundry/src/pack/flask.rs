//! Flasks, sprues and the rules of a tree; what a packed tree is.

use super::attach::Attachment;
use super::refusal::{PackRefusal, within};
use crate::mesh::Point;

/// A kind of flask the studio has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlaskKind {
    /// Inside, across.
    pub diameter_mm: f64,
    /// Inside, from the base to the rim.
    pub height_mm: f64,
    /// Channels that carry the vacuum along the wall, in flasks with solid walls.
    pub channels: Option<Channels>,
    /// How many of them are free; none means as many as are needed.
    pub at_hand: Option<usize>,
}

/// Upright round channels along the wall of a flask, spread evenly, the first at azimuth 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channels {
    /// How many.
    pub count: u32,
    /// Across one.
    pub diameter_mm: f64,
    /// From the flask's axis to the axis of a channel.
    pub from_axis_mm: f64,
}

/// What pieces are joined to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sprue {
    /// One rod along the flask's axis.
    Straight {
        /// Across it.
        diameter_mm: f64,
    },
    /// A trunk that parts above the base into upright branches spread around the axis.
    Branching {
        /// Across trunk and branches.
        diameter_mm: f64,
        /// How many branches.
        branches: u32,
        /// From the flask's axis to that of a branch.
        spread_mm: f64,
    },
}

/// Where heavy pieces go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heavy {
    /// Near the base, which becomes the button: low as the tree stands on the bench, next to the
    /// metal that feeds.
    Low,
    /// Near the tip of the sprue, under the most pressure when it is poured.
    High,
    /// Wherever they pack best.
    Anywhere,
}

/// How trees are built. The usual values are common practice, no source.
#[derive(Debug, Clone, PartialEq)]
pub struct TreeRules {
    /// What pieces are joined to.
    pub sprue: Sprue,
    /// Kept free between pieces and the flask's wall.
    pub wall_mm: f64,
    /// Kept free between pieces and the rim above the tip of the tree.
    pub top_mm: f64,
    /// Kept free between pieces and the base, where the button will be.
    pub floor_mm: f64,
    /// Kept free between pieces, and between a piece and the runner of another.
    pub apart_mm: f64,
    /// Kept free between two runners, which meet at the sprue anyway.
    pub runners_apart_mm: f64,
    /// Kept free between a piece and the sprue it does not touch.
    pub sprue_clear_mm: f64,
    /// Kept free between pieces and vacuum channels.
    pub channel_mm: f64,
    /// Across the runner that joins a piece to the sprue.
    pub runner_diameter_mm: f64,
    /// Lengths of runners that may be used, shortest first.
    pub runner_lengths_mm: Vec<f64>,
    /// Tilts of runners above the horizontal that may be used, preferred first.
    pub tilts_deg: Vec<f64>,
    /// Turns of a piece about its runner that are tried.
    pub rolls: u32,
    /// Directions around the sprue that are tried.
    pub azimuths: u32,
    /// Where heavy pieces go.
    pub heavy: Heavy,
}

impl Default for TreeRules {
    fn default() -> Self {
        Self {
            sprue: Sprue::Straight { diameter_mm: 8.0 },
            wall_mm: 7.0,
            top_mm: 12.0,
            floor_mm: 12.0,
            apart_mm: 3.0,
            runners_apart_mm: 0.5,
            sprue_clear_mm: 3.0,
            channel_mm: 4.0,
            runner_diameter_mm: 3.0,
            runner_lengths_mm: vec![6.0, 10.0, 15.0],
            tilts_deg: vec![45.0, 60.0, 30.0],
            rolls: 8,
            azimuths: 36,
            heavy: Heavy::Low,
        }
    }
}

impl TreeRules {
    pub(super) fn check(&self, kinds: &[FlaskKind]) -> Result<(), PackRefusal> {
        let clear = |what, mm| within(what, mm, 0.0, 200.0);
        clear("the clearance to the wall", self.wall_mm)?;
        clear("the clearance to the rim", self.top_mm)?;
        clear("the clearance to the base", self.floor_mm)?;
        clear("the clearance between pieces", self.apart_mm)?;
        clear("the clearance between runners", self.runners_apart_mm)?;
        clear("the clearance to the sprue", self.sprue_clear_mm)?;
        clear("the clearance to channels", self.channel_mm)?;
        within("the diameter of a runner", self.runner_diameter_mm, 0.5, 30.0)?;
        for &length in &self.runner_lengths_mm {
            within("the length of a runner", length, 0.5, 200.0)?;
        }
        let tilts = self.tilts_deg.iter().all(|tilt| (-80.0..=80.0).contains(tilt));
        let counts = (1..=72).contains(&self.rolls) && (1..=180).contains(&self.azimuths);
        if self.runner_lengths_mm.is_empty() || self.tilts_deg.is_empty() || !tilts || !counts {
            return Err(PackRefusal::NoWayToHang);
        }
        for kind in kinds {
            within("the inside diameter of a flask", kind.diameter_mm, 10.0, 1000.0)?;
            within("the height of a flask", kind.height_mm, 10.0, 1000.0)?;
            if let Some(channels) = kind.channels {
                within("the diameter of a channel", channels.diameter_mm, 0.5, 50.0)?;
                within("the place of a channel", channels.from_axis_mm, 0.0, kind.diameter_mm)?;
            }
        }
        match self.sprue {
            Sprue::Straight { diameter_mm } => {
                within("the diameter of the sprue", diameter_mm, 1.0, 100.0)
            }
            Sprue::Branching { diameter_mm, branches, spread_mm } => {
                within("the diameter of the sprue", diameter_mm, 1.0, 100.0)?;
                within("the spread of the branches", spread_mm, diameter_mm, 300.0)?;
                if (2..=12).contains(&branches) { Ok(()) } else { Err(PackRefusal::NoWayToHang) }
            }
        }
    }

    /// The upright rods that bear pieces: the place of their axes.
    pub(super) fn uprights(&self) -> Vec<[f64; 2]> {
        match self.sprue {
            Sprue::Straight { .. } => vec![[0.0; 2]],
            Sprue::Branching { branches, spread_mm, .. } => (0..branches)
                .map(|n| {
                    let azimuth = std::f64::consts::TAU * f64::from(n) / f64::from(branches);
                    [spread_mm * azimuth.cos(), spread_mm * azimuth.sin()]
                })
                .collect(),
        }
    }

    pub(super) fn sprue_radius(&self) -> f64 {
        match self.sprue {
            Sprue::Straight { diameter_mm } | Sprue::Branching { diameter_mm, .. } => {
                diameter_mm / 2.0
            }
        }
    }
}

impl Channels {
    /// The axes of all channels.
    #[must_use]
    pub fn axes_mm(&self) -> Vec<[f64; 2]> {
        (0..self.count)
            .map(|n| {
                let azimuth = std::f64::consts::TAU * f64::from(n) / f64::from(self.count);
                [self.from_axis_mm * azimuth.cos(), self.from_axis_mm * azimuth.sin()]
            })
            .collect()
    }
}

/// A piece that waits for investing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToTree {
    /// Which of the patterns.
    pub pattern: usize,
    /// When it is due, on any scale; the least is due first, none is due last.
    pub due: Option<i64>,
    /// Pieces share a flask only with those of the same group: one alloy, one pattern family.
    pub group: usize,
}

/// A round rod.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rod {
    /// One end of its axis.
    pub from_mm: Point,
    /// The other end.
    pub to_mm: Point,
    /// Across it.
    pub diameter_mm: f64,
}

impl Rod {
    /// Its volume as a cylinder.
    #[must_use]
    pub fn volume_mm3(&self) -> f64 {
        let square: f64 = (0..3).map(|a| (self.to_mm[a] - self.from_mm[a]).powi(2)).sum();
        square.sqrt() * self.diameter_mm.powi(2) * std::f64::consts::FRAC_PI_4
    }
}

/// A piece on a tree. The flask's axis is z, z = 0 the base on which the tree stands.
#[derive(Debug, Clone, PartialEq)]
pub struct OnTree {
    /// Which of the pieces handed in.
    pub piece: usize,
    /// Tier, from one at the base.
    pub tier: usize,
    /// Place in the tier, from one, by azimuth.
    pub place: usize,
    /// Which upright of the sprue bears it, from zero.
    pub upright: usize,
    /// Where its runner leaves the sprue, above the base.
    pub z_mm: f64,
    /// Direction of the runner seen from above, anticlockwise from x.
    pub azimuth_deg: f64,
    /// Tilt of the runner above the horizontal.
    pub tilt_deg: f64,
    /// Turn of the piece about its runner.
    pub roll_deg: f64,
    /// The runner, from the sprue to the piece.
    pub runner: Rod,
    /// From the model's coordinates to the flask's: three rows of rotation and shift.
    pub pose: [[f64; 4]; 3],
}

impl OnTree {
    /// A point of the model where it is in the flask.
    #[must_use]
    pub fn placed(&self, [x, y, z]: Point) -> Point {
        self.pose.map(|row| row[0] * x + row[1] * y + row[2] * z + row[3])
    }
}

/// A flask with its tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Treed {
    /// Which kind of flask.
    pub kind: usize,
    /// The group all its pieces belong to.
    pub group: usize,
    /// What stands on the tree, by tier and place.
    pub pieces: Vec<OnTree>,
    /// The rods of the sprue, cut to length.
    pub sprue: Vec<Rod>,
    /// All pieces together; none when one's model is open.
    pub pieces_mm3: Option<f64>,
    /// Sprue and runners together.
    pub sprue_mm3: f64,
}

/// Why a piece is in no flask.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoFlask {
    /// Too large for every kind of flask.
    #[error(
        "it needs a flask of at least {diameter_mm:.0} mm inside and {height_mm:.0} mm high, and none here is so large"
    )]
    TooLarge {
        /// Inside diameter of the least flask that takes it.
        diameter_mm: f64,
        /// Height of that flask.
        height_mm: f64,
    },
    /// All flasks that take it are full.
    #[error(
        "all free flasks that would take it are full; it needs one more of at least {diameter_mm:.0} mm inside and {height_mm:.0} mm high"
    )]
    NoneFree {
        /// Inside diameter of the least flask that takes it.
        diameter_mm: f64,
        /// Height of that flask.
        height_mm: f64,
    },
}

/// Flasks for all pieces.
#[derive(Debug, Clone, PartialEq)]
pub struct PackedFlasks {
    /// In the order in which they are needed.
    pub flasks: Vec<Treed>,
    /// Pieces that no flask takes.
    pub left: Vec<(usize, NoFlask)>,
    /// No packing of the same pieces takes fewer flasks: by volume and clearances alone.
    pub at_least: usize,
    /// Where each pattern is joined.
    pub attachments: Vec<Attachment>,
}
