//! Is the piece fed? One question, one answer.

use super::freezing::{Freezing, Progress, Watch, freeze};
use super::grid::Grid;
use super::material::{Conditions, Within};
use super::pockets::{Floor, Pocket, pockets};
use super::refusal::FreezeRefusal;
use super::shape::{Part, Rod, Shape};
use super::sprue::{Sprue, Surface};
use super::voxels::Voxels;

/// Most voxels of a first answer, and of a fine one.
const FIRST_VOXELS: f64 = 1.2e6;
const FINE_VOXELS: f64 = 6e6;
/// Voxels across the thickness of a plate of the piece's modulus.
const FIRST_ACROSS: f64 = 4.0;
const FINE_ACROSS: f64 = 8.0;

/// Error of freezing times, as a share, at a pitch of one modulus; it falls
/// with the square of the pitch (measured on plates and balls, see the tests).
const COARSENESS: f64 = 0.06;

/// A model, its sprues and how it is cast.
#[derive(Debug, Clone)]
pub struct FeedCase<'a> {
    /// Corners of a closed mesh, mm.
    pub vertices_mm: &'a [[f64; 3]],
    /// Its triangles.
    pub triangles: &'a [[u32; 3]],
    /// The sprues; none shows where the piece itself freezes last.
    pub sprues: Vec<Sprue>,
    /// Metal, mould and temperatures.
    pub conditions: Conditions,
    /// Edge of a voxel, mm; chosen for a first answer when not given.
    pub pitch_mm: Option<f64>,
    /// What is too small to count.
    pub floor: Floor,
}

/// A place and a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceAndTime {
    /// Where, mm.
    pub at_mm: [f64; 3],
    /// Seconds from the filling of the mould.
    pub seconds: f64,
}

/// Where the piece freezes last and whether it is fed until then.
#[derive(Debug, Clone)]
pub struct FeedAnswer {
    /// The last place of the piece to freeze, and when it stops feeding.
    pub last_to_freeze: PlaceAndTime,
    /// When the whole piece is solid, s.
    pub solid_s: f64,
    /// Bodies of liquid cut off from their feed, the worst first.
    pub pockets: Vec<Pocket>,
    /// Whether there are sprues and no pockets.
    pub enough: bool,
    /// Edge of a voxel that was used, mm.
    pub pitch_mm: f64,
    /// The whole freezing, for showing it.
    pub freezing: Freezing,
    /// What the reader should know.
    pub warnings: Vec<String>,
}

impl<'a> FeedCase<'a> {
    /// A case with no sprues yet, first pitch and the usual floor.
    #[must_use]
    pub fn new(
        vertices_mm: &'a [[f64; 3]],
        triangles: &'a [[u32; 3]],
        conditions: Conditions,
    ) -> Self {
        let floor = Floor::default();
        Self { vertices_mm, triangles, sprues: Vec::new(), conditions, pitch_mm: None, floor }
    }

    /// The piece's modulus, volume over surface, mm.
    pub fn modulus_mm(&self) -> Result<f64, FreezeRefusal> {
        let shape = self.shape(&[]);
        shape.bounds_mm()?;
        let (volume, area) = shape.volume_and_area();
        if volume > 0.0 && area > 0.0 { Ok(volume / area) } else { Err(FreezeRefusal::NoModel) }
    }

    /// Pitch for a first answer, within about three seconds for a ring.
    pub fn first_pitch_mm(&self) -> Result<f64, FreezeRefusal> {
        self.pitch_for(FIRST_ACROSS, FIRST_VOXELS)
    }

    /// Pitch for a fine answer.
    pub fn fine_pitch_mm(&self) -> Result<f64, FreezeRefusal> {
        self.pitch_for(FINE_ACROSS, FINE_VOXELS)
    }

    fn pitch_for(&self, across: f64, voxels: f64) -> Result<f64, FreezeRefusal> {
        let rods = self.rods()?;
        let sprue = self.sprues.iter().map(|s| s.diameter_mm).fold(f64::INFINITY, f64::min);
        let wanted = (2.0 * self.modulus_mm()? / across).min(sprue / across);
        let (low, high) = self.shape(&rods).bounds_mm()?;
        let margin = self.margin_mm()?;
        let box_mm3: f64 = (0..3).map(|a| high[a] - low[a] + 2.0 * margin).product();
        Ok(wanted.max((box_mm3 / voxels).cbrt()).clamp(0.02, 20.0))
    }

    /// Mould kept around the metal: as far as heat gets while it freezes.
    fn margin_mm(&self) -> Result<f64, FreezeRefusal> {
        let numbers = self.conditions.numbers(Within::Usual)?;
        let sprue = self.sprues.iter().map(|s| 0.25 * s.diameter_mm).fold(0.0, f64::max);
        let modulus = self.modulus_mm()?.max(sprue);
        let seconds = 1.5 * numbers.seconds_per_mm2() * modulus * modulus;
        Ok((2.5 * (numbers.mould_mm2_s() * seconds).sqrt()).clamp(3.0, 40.0))
    }

    fn rods(&self) -> Result<Vec<Rod>, FreezeRefusal> {
        let surface = Surface::new(self.vertices_mm, self.triangles)?;
        let modulus = self.modulus_mm()?;
        let mut rods = Vec::with_capacity(2 * self.sprues.len());
        for (i, sprue) in self.sprues.iter().enumerate() {
            rods.extend(surface.attach(i + 1, sprue, modulus)?);
        }
        Ok(rods)
    }

    fn shape<'b>(&'b self, rods: &'b [Rod]) -> Shape<'b> {
        Shape { vertices_mm: self.vertices_mm, triangles: self.triangles, rods }
    }
}

/// Computes the freezing of a piece with its sprues and finds what is not fed.
///
/// # Units
/// Millimetres and seconds.
///
/// # Assumes
/// What [`freeze`] assumes. Each sprue ends in a button of its own, which
/// stands for the trunk or button it joins and is thick enough to outlast it.
/// Pressure and gravity are not looked at: liquid feeds as long as it is
/// connected through metal less solid than the conditions' limit.
///
/// # Accuracy
/// Times at the first pitch are within 5 % of those at the fine one (tested on
/// a ring with a head); the heat data leave about a factor of two.
///
/// # Refuses
/// What [`freeze`] and [`Surface::attach`] refuse.
pub fn feed(case: &FeedCase<'_>, watch: &mut Watch<'_>) -> Result<FeedAnswer, FreezeRefusal> {
    feed_with(case, Within::Usual, watch)
}

/// The same for one end of the heat data's ranges.
pub fn feed_with(
    case: &FeedCase<'_>,
    values: Within,
    watch: &mut Watch<'_>,
) -> Result<FeedAnswer, FreezeRefusal> {
    if watch(Progress { doing: "cutting into voxels", share: 0.0 }).is_break() {
        return Err(FreezeRefusal::Stopped);
    }
    let pitch_mm = match case.pitch_mm {
        Some(pitch) => pitch,
        None => case.first_pitch_mm()?,
    };
    let rods = case.rods()?;
    let shape = case.shape(&rods);
    let (low, high) = shape.bounds_mm()?;
    let grid = Grid::around(low, high, case.margin_mm()?, pitch_mm)?;
    let voxels = Voxels::cut(&shape, grid)?;
    let freezing = freeze(&voxels, &case.conditions, values, watch)?;
    let last = freezing.last_of_piece().ok_or(FreezeRefusal::NoMetal { pitch_mm })?;
    let last_to_freeze = PlaceAndTime {
        at_mm: freezing.grid.centre_mm(last.index as usize),
        seconds: f64::from(last.feeds_until_s),
    };
    let modulus_mm = case.modulus_mm()?;
    let floor = Floor {
        share_of_time: case.floor.share_of_time.max(COARSENESS * (pitch_mm / modulus_mm).powi(2)),
        ..case.floor
    };
    let pockets = pockets(&freezing, &case.conditions.metal.freezing_shrinkage, &floor);
    let mut warnings = Vec::new();
    if modulus_mm < pitch_mm {
        warnings.push(format!(
            "a pitch of {pitch_mm:.2} mm is coarse for sections this thin; the times are rough"
        ));
    }
    if rods.iter().any(|r| r.part == Part::Button)
        && freezing
            .voxels
            .iter()
            .filter(|v| v.part == Part::Button)
            .all(|v| f64::from(v.feeds_until_s) < last_to_freeze.seconds)
    {
        warnings.push("the piece outlasts its buttons; a heavier button or trunk is needed".into());
    }
    Ok(FeedAnswer {
        last_to_freeze,
        solid_s: freezing.piece_solid_s(),
        enough: !case.sprues.is_empty() && pockets.is_empty(),
        pockets,
        pitch_mm,
        freezing,
        warnings,
    })
}

/// How far the answer holds when the heat data are at the ends of their ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OverRange {
    /// When the piece is solid at the soonest, s.
    pub soonest_s: f64,
    /// When the piece is solid at the latest, s.
    pub latest_s: f64,
    /// Whether the sprues are enough at both ends.
    pub enough_at_both: bool,
    /// Whether the sprues fall short at both ends.
    pub short_at_both: bool,
}

/// Computes both ends of the heat data's ranges.
pub fn over_range(case: &FeedCase<'_>, watch: &mut Watch<'_>) -> Result<OverRange, FreezeRefusal> {
    let soon = feed_with(case, Within::Fastest, watch)?;
    let late = feed_with(case, Within::Slowest, watch)?;
    Ok(OverRange {
        soonest_s: soon.solid_s,
        latest_s: late.solid_s,
        enough_at_both: soon.enough && late.enough,
        short_at_both: !soon.enough && !late.enough,
    })
}
