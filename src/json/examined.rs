//! The written shape of what a closer look at a model finds: walls, bore, repairs.

use foundry::mesh::{
    Bore, Bounds, Mesh, Point, RepairOptions, Spot, Thickness, ThicknessOptions, bore, repair,
    thickness, union,
};
use foundry::quantity::Millimetres;
use foundry::size::{RingScale, RingSize};
use serde::{Deserialize, Serialize};

/// What a closer look finds. Walls and bore are those of the repaired copy when there is
/// something that a safe repair would change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExaminedJson {
    /// The volume that all bodies take up together, as drawn; none when nothing is inside.
    pub union_volume_mm3: Option<f64>,
    /// How far off it may be.
    pub union_volume_error_mm3: Option<f64>,
    /// Why it is missing.
    pub union_volume_refused: Option<String>,
    /// The walls; none when there is nothing to measure.
    pub thickness: Option<ThicknessJson>,
    /// Why they are missing.
    pub thickness_refused: Option<String>,
    /// The widest open round hole.
    pub bore: Option<BoreJson>,
    /// What a safe repair would change, as sentences.
    pub repairs: Vec<String>,
}

impl ExaminedJson {
    /// Looks at a mesh in millimetres; walls below the limit count as thin.
    #[must_use]
    pub fn of(mesh: &Mesh, limit: Millimetres) -> Self {
        let (united, union_volume_refused) = apart(union(mesh));
        let repaired = repair(mesh, &RepairOptions::default());
        let whole = if repaired.changes.is_empty() { mesh } else { &repaired.mesh };
        let options = ThicknessOptions { limit, ..ThicknessOptions::default() };
        let (walls, thickness_refused) = apart(thickness(whole, &options));
        Self {
            union_volume_mm3: united.map(|union| union.volume.get()),
            union_volume_error_mm3: united.map(|union| union.error.get()),
            union_volume_refused,
            thickness: walls.map(|walls| ThicknessJson::new(&walls, limit)),
            thickness_refused,
            bore: bore(whole).map(|bore| BoreJson::from(&bore)),
            repairs: repaired.changes.iter().map(ToString::to_string).collect(),
        }
    }
}

/// A value, or why there is none.
pub(crate) fn apart<T, E: std::fmt::Display>(result: Result<T, E>) -> (Option<T>, Option<String>) {
    match result {
        Ok(value) => (Some(value), None),
        Err(why) => (None, Some(why.to_string())),
    }
}

/// How thick the walls are, or how wide the gaps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ThicknessJson {
    /// The smallest ball that fits; none when nothing lies opposite anything.
    pub min_mm: Option<f64>,
    /// Where it touches.
    pub min_at_mm: Option<Point>,
    /// Below this lies one hundredth of the surface.
    pub p01_mm: Option<f64>,
    /// What counts as thin.
    pub limit_mm: f64,
    /// The area that does.
    pub area_below_mm2: f64,
    /// The same as a share of all, 0 to 1.
    pub share_below: f64,
    /// Where it is, the largest place first.
    pub thin_places: Vec<ThinPlaceJson>,
}

/// A connected place that does not meet the limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ThinPlaceJson {
    /// The corner of the box around it with the least x, y and z.
    pub from_mm: Point,
    /// The opposite corner.
    pub to_mm: Point,
    /// Its area.
    pub area_mm2: f64,
    /// The thinnest there.
    pub min_mm: f64,
    /// Where it is; results of old do not tell.
    #[serde(default)]
    pub min_at_mm: Option<Point>,
}

impl ThicknessJson {
    /// Writes down what was found with a limit.
    #[must_use]
    pub fn new(found: &Thickness, limit: Millimetres) -> Self {
        let places = found.thin_places.iter().map(|place| {
            let (from_mm, to_mm) = match place.spot {
                Spot::At(point) => (point, point),
                Spot::Within(Bounds { least, greatest }) => (least, greatest),
            };
            let (area_mm2, min_mm) = (place.area.get(), place.thinnest.get());
            let min_at_mm = Some(place.thinnest_at);
            ThinPlaceJson { from_mm, to_mm, area_mm2, min_mm, min_at_mm }
        });
        Self {
            min_mm: found.thinnest.map(|(least, _)| least.get()),
            min_at_mm: found.thinnest.map(|(_, at)| at),
            p01_mm: found.first_percentile.map(|least| least.get()).filter(|mm| mm.is_finite()),
            limit_mm: limit.get(),
            area_below_mm2: found.area_below.get(),
            share_below: found.share_below,
            thin_places: places.collect(),
        }
    }
}

/// A round hole through a piece.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BoreJson {
    /// Its diameter at the narrowest.
    pub diameter_mm: f64,
    /// The greatest less the least diameter there.
    pub out_of_round_mm: f64,
    /// The direction of its axis, of length one.
    pub axis: Point,
    /// The middle of its axis.
    pub centre_mm: Point,
    /// How long its wall is.
    pub length_mm: f64,
    /// How much of the way around there is wall, 0 to 1.
    pub coverage: f64,
    /// The sizes of a ring with this bore, as drawn.
    pub ring_sizes: RingSizesJson,
}

impl BoreJson {
    /// Whether there is wall all around: a ring, or a hole. What is open may be a ring that is
    /// cut, or a hook.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.coverage >= Bore::CLOSED
    }
}

impl From<&Bore> for BoreJson {
    fn from(bore: &Bore) -> Self {
        Self {
            diameter_mm: bore.diameter.get(),
            out_of_round_mm: bore.out_of_round.get(),
            axis: bore.axis,
            centre_mm: bore.centre,
            length_mm: bore.length.get(),
            coverage: bore.coverage,
            ring_sizes: RingSizesJson::nearest(bore.diameter),
        }
    }
}

/// The nearest sizes on each scale; none where no ring is so large or small.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RingSizesJson {
    /// ISO 8653.
    pub iso_8653: Option<RingSizeJson>,
    /// United States.
    pub us: Option<RingSizeJson>,
    /// United Kingdom.
    pub uk: Option<RingSizeJson>,
}

/// A size and the diameter that it stands for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RingSizeJson {
    /// The size as it is written.
    pub size: String,
    /// Its inside diameter.
    pub inside_diameter_mm: f64,
}

impl RingSizesJson {
    /// The sizes nearest to an inside diameter.
    #[must_use]
    pub fn nearest(inside: Millimetres) -> Self {
        let on = |scale| {
            let size = RingSize::nearest(scale, inside).ok()?;
            let inside_diameter_mm = size.inside_diameter().value.get();
            Some(RingSizeJson { size: size.to_string(), inside_diameter_mm })
        };
        Self {
            iso_8653: on(RingScale::Iso8653),
            us: on(RingScale::UnitedStates),
            uk: on(RingScale::UnitedKingdom),
        }
    }

    /// Those that there are, each with the name of its scale.
    pub fn named(&self) -> impl Iterator<Item = (&'static str, &str)> {
        [
            (RingScale::Iso8653, &self.iso_8653),
            (RingScale::UnitedStates, &self.us),
            (RingScale::UnitedKingdom, &self.uk),
        ]
        .into_iter()
        .filter_map(|(scale, size)| Some((scale.name(), size.as_ref()?.size.as_str())))
    }
}
