//! The written shape of how a piece freezes and is fed.

use foundry::freeze::{FeedAnswer, OverRange, Pocket, Porosity, Sprue};
use serde::{Deserialize, Serialize};

/// Where a piece freezes last and whether it is fed until then.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FeedJson {
    /// The last place of the piece to freeze, and when it stops feeding.
    pub last_to_freeze: LastJson,
    /// When the whole piece is solid.
    pub solid_seconds: f64,
    /// Bodies of liquid cut off from their feed, the worst first.
    pub pockets: Vec<PocketJson>,
    /// Voids to expect in all pockets together.
    pub porosity_mm3: PorosityJson,
    /// Whether there are sprues and no pockets.
    pub enough: bool,
    /// What to know and do, in order.
    pub advice: Vec<String>,
    /// The smallest set of sprues found that feeds the piece; empty when none was found.
    pub proposed_sprues: Vec<SprueJson>,
    /// The answers at both ends of the heat data's ranges, where they were asked for.
    pub over_range: Option<OverRangeJson>,
    /// What the reader should know.
    pub warnings: Vec<String>,
    /// The edge of a cube of the calculation.
    pub pitch_mm: f64,
    /// How long the calculation took.
    pub wall_seconds: f64,
}

/// A place and a time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LastJson {
    /// Where.
    pub at_mm: [f64; 3],
    /// Seconds from the filling of the mould.
    pub seconds: f64,
}

/// Liquid that was cut off from its feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PocketJson {
    /// Its last place to freeze.
    pub at_mm: [f64; 3],
    /// Metal in it when it was cut off.
    pub volume_mm3: f64,
    /// When it stopped feeding itself.
    pub seconds: f64,
    /// When it was cut off.
    pub cut_off_seconds: f64,
    /// Voids to expect in it.
    pub porosity_mm3: PorosityJson,
}

/// A volume of voids with its limits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PorosityJson {
    /// At least.
    pub low: f64,
    /// Usually.
    pub usual: f64,
    /// At most.
    pub high: f64,
}

/// A round sprue.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SprueJson {
    /// Its place on the surface.
    pub at_mm: [f64; 3],
    /// Its diameter.
    pub diameter_mm: f64,
    /// Its length.
    pub length_mm: f64,
}

/// How far the answer holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OverRangeJson {
    /// When the piece is solid at the soonest.
    pub soonest_seconds: f64,
    /// When it is at the latest.
    pub latest_seconds: f64,
    /// Whether the sprues are enough at both ends.
    pub enough_at_both: bool,
    /// Whether they fall short at both.
    pub short_at_both: bool,
}

impl FeedJson {
    /// Writes down an answer; advice, ends of ranges and the time taken are added by whoever has them.
    #[must_use]
    pub fn new(answer: &FeedAnswer) -> Self {
        let mut porosity_mm3 = PorosityJson::default();
        for pocket in &answer.pockets {
            porosity_mm3.low += pocket.porosity_mm3.low;
            porosity_mm3.usual += pocket.porosity_mm3.usual;
            porosity_mm3.high += pocket.porosity_mm3.high;
        }
        Self {
            last_to_freeze: LastJson {
                at_mm: answer.last_to_freeze.at_mm,
                seconds: answer.last_to_freeze.seconds,
            },
            solid_seconds: answer.solid_s,
            pockets: answer.pockets.iter().map(PocketJson::from).collect(),
            porosity_mm3,
            enough: answer.enough,
            advice: Vec::new(),
            proposed_sprues: Vec::new(),
            over_range: None,
            warnings: answer.warnings.clone(),
            pitch_mm: answer.pitch_mm,
            wall_seconds: 0.0,
        }
    }
}

impl From<&Pocket> for PocketJson {
    fn from(pocket: &Pocket) -> Self {
        Self {
            at_mm: pocket.at_mm,
            volume_mm3: pocket.volume_mm3,
            seconds: pocket.until_s,
            cut_off_seconds: pocket.cut_off_s,
            porosity_mm3: PorosityJson::from(pocket.porosity_mm3),
        }
    }
}

impl From<Porosity> for PorosityJson {
    fn from(Porosity { low, usual, high }: Porosity) -> Self {
        Self { low, usual, high }
    }
}

impl From<&Sprue> for SprueJson {
    fn from(sprue: &Sprue) -> Self {
        Self { at_mm: sprue.at_mm, diameter_mm: sprue.diameter_mm, length_mm: sprue.length_mm }
    }
}

impl From<OverRange> for OverRangeJson {
    fn from(range: OverRange) -> Self {
        Self {
            soonest_seconds: range.soonest_s,
            latest_seconds: range.latest_s,
            enough_at_both: range.enough_at_both,
            short_at_both: range.short_at_both,
        }
    }
}
