//! The written shape of pieces on trees in flasks. The flask's axis is z, z = 0 the base on which
//! the tree stands.

use foundry::pack::{Attachment, OnTree, Rod};
use serde::Serialize;

/// Flasks, in the order in which they are needed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TreesJson {
    /// Each with its tree.
    pub flasks: Vec<TreeJson>,
    /// No packing of the same pieces takes fewer flasks, by volume and clearances alone.
    pub at_least_flasks: usize,
    /// Pieces that go into no flask, and which they need.
    pub left: Vec<super::plate::LeftJson>,
    /// Where each file's model is joined, in its own coordinates.
    pub attachments: Vec<AttachmentJson>,
    /// How long it took.
    pub wall_seconds: f64,
}

/// A flask with its tree.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TreeJson {
    /// Inside diameter of the flask.
    pub diameter_mm: f64,
    /// Its height.
    pub height_mm: f64,
    /// What hangs on the tree, by tier and place.
    pub pieces: Vec<OnTreeJson>,
    /// The sprue, cut to length.
    pub sprue: Vec<RodJson>,
    /// Volume of all pieces; none when one's model is open.
    pub pieces_mm3: Option<f64>,
    /// Volume of sprue and runners.
    pub sprue_mm3: f64,
    /// What the investment fills: the flask without the tree.
    pub investment_mm3: Option<f64>,
}

/// A round rod.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RodJson {
    /// One end of its axis.
    pub from_mm: [f64; 3],
    /// The other end.
    pub to_mm: [f64; 3],
    /// Across it.
    pub diameter_mm: f64,
}

impl From<&Rod> for RodJson {
    fn from(rod: &Rod) -> Self {
        Self { from_mm: rod.from_mm, to_mm: rod.to_mm, diameter_mm: rod.diameter_mm }
    }
}

/// A piece on a tree.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OnTreeJson {
    /// Its file.
    pub file: String,
    /// Which of the copies of its file, from one.
    pub copy: usize,
    /// Tier, from one at the base.
    pub tier: usize,
    /// Place in the tier.
    pub place: usize,
    /// Which upright of the sprue bears it, from zero.
    pub upright: usize,
    /// Where its runner leaves the sprue.
    pub z_mm: f64,
    /// Direction of the runner from above.
    pub azimuth_deg: f64,
    /// Tilt of the runner above the horizontal.
    pub tilt_deg: f64,
    /// Turn of the piece about its runner.
    pub roll_deg: f64,
    /// The runner.
    pub runner: RodJson,
    /// From the model's coordinates to the flask's: three rows of rotation and shift.
    pub pose: [[f64; 4]; 3],
}

impl OnTreeJson {
    /// Writes down a piece.
    #[must_use]
    pub fn new(file: String, copy: usize, on: &OnTree) -> Self {
        Self {
            file,
            copy,
            tier: on.tier,
            place: on.place,
            upright: on.upright,
            z_mm: on.z_mm,
            azimuth_deg: on.azimuth_deg,
            tilt_deg: on.tilt_deg,
            roll_deg: on.roll_deg,
            runner: RodJson::from(&on.runner),
            pose: on.pose,
        }
    }
}

/// Where a model is joined to its tree.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AttachmentJson {
    /// Its file.
    pub file: String,
    /// The place on its surface.
    pub at_mm: [f64; 3],
    /// The direction out of the piece there.
    pub outwards: [f64; 3],
    /// The section there, by the largest ball inside.
    pub section_mm: Option<f64>,
}

impl AttachmentJson {
    /// Writes down an attachment.
    #[must_use]
    pub fn new(file: String, join: &Attachment) -> Self {
        Self { file, at_mm: join.at_mm, outwards: join.outwards, section_mm: join.section_mm }
    }
}
