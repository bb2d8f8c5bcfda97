//! What the invented studio makes: jewellery, keys for instruments, small hardware.

use std::f64::consts::{FRAC_PI_2, PI};

use super::field::flowing;
use super::lathe::{Lathe, Turn};
use super::{Field, net};
use crate::mesh::{Bounds, Mesh, Point};
use crate::quantity::Millimetres;

const X: Point = [1.0, 0.0, 0.0];
const Y: Point = [0.0, 1.0, 0.0];
const Z: Point = [0.0, 0.0, 1.0];

/// A piece of the studio's own designs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Piece {
    /// A round pendant with a rosette and a loop.
    Pendant,
    /// A cufflink with a beaded face.
    Cufflink,
    /// A key of a woodwind instrument: touch, hinge tube, arm and cup.
    InstrumentKey,
    /// A turned drawer knob with a blind hole for its screw.
    DrawerKnob,
    /// One leaf of a small hinge.
    HingeLeaf,
    /// A coat hook on a plate.
    Hook,
    /// A plain ring of rectangular section.
    PlainBand,
    /// A ring rounded inside and out.
    ComfortBand,
    /// A signet ring with a heavy head.
    SignetRing,
    /// A hollow lobed bead with a thin wall.
    LobedBead,
}

impl Piece {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Pendant,
        Self::Cufflink,
        Self::InstrumentKey,
        Self::DrawerKnob,
        Self::HingeLeaf,
        Self::Hook,
        Self::PlainBand,
        Self::ComfortBand,
        Self::SignetRing,
        Self::LobedBead,
    ];

    /// A name for files.
    #[must_use]
    pub const fn slug(self) -> &'static str {
        match self {
            Self::Pendant => "rosette-pendant",
            Self::Cufflink => "beaded-cufflink",
            Self::InstrumentKey => "instrument-key",
            Self::DrawerKnob => "drawer-knob",
            Self::HingeLeaf => "hinge-leaf",
            Self::Hook => "coat-hook",
            Self::PlainBand => "plain-band",
            Self::ComfortBand => "comfort-band",
            Self::SignetRing => "signet-ring",
            Self::LobedBead => "lobed-bead",
        }
    }

    /// A name for people.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Pendant => "Rosette pendant",
            Self::Cufflink => "Beaded cufflink",
            Self::InstrumentKey => "Instrument key",
            Self::DrawerKnob => "Drawer knob",
            Self::HingeLeaf => "Hinge leaf",
            Self::Hook => "Coat hook",
            Self::PlainBand => "Plain band",
            Self::ComfortBand => "Comfort-fit band",
            Self::SignetRing => "Signet ring",
            Self::LobedBead => "Lobed bead",
        }
    }

    /// The bore of a ring, at its narrowest.
    #[must_use]
    pub const fn bore(self) -> Option<Millimetres> {
        match self {
            Self::PlainBand | Self::ComfortBand => Some(Millimetres::of(17.3)),
            Self::SignetRing => Some(Millimetres::of(18.0)),
            _ => None,
        }
    }

    /// The surface in millimetres: closed, facing outwards, 5,000 to 60,000 facets.
    #[must_use]
    pub fn mesh(self) -> Mesh {
        match (self.field(), self.cell_mm()) {
            (Some((field, room)), Some(cell)) => net(&field, &room, cell).unwrap_or_default(),
            _ => self.turned(),
        }
    }

    /// The piece as a field and the box it fits in, unless it is a turned one.
    #[must_use]
    pub fn field(self) -> Option<(Field, Bounds)> {
        Some(match self {
            Self::Pendant => pendant(),
            Self::Cufflink => cufflink(),
            Self::InstrumentKey => instrument_key(),
            Self::HingeLeaf => hinge_leaf(),
            Self::Hook => hook(),
            Self::SignetRing => signet_ring(),
            Self::DrawerKnob | Self::PlainBand | Self::ComfortBand | Self::LobedBead => {
                return None;
            }
        })
    }

    /// The cell with which the field is meshed.
    #[must_use]
    pub const fn cell_mm(self) -> Option<f64> {
        match self {
            Self::Pendant => Some(0.30),
            Self::Cufflink => Some(0.25),
            Self::InstrumentKey => Some(0.32),
            Self::HingeLeaf => Some(0.38),
            Self::Hook => Some(0.41),
            Self::SignetRing => Some(0.26),
            Self::DrawerKnob | Self::PlainBand | Self::ComfortBand | Self::LobedBead => None,
        }
    }

    fn turned(self) -> Mesh {
        match self {
            Self::PlainBand => plain_band().mesh(),
            Self::ComfortBand => comfort_band().mesh(),
            Self::LobedBead => lobed_bead(),
            _ => drawer_knob().mesh(),
        }
    }
}

fn room(least: Point, greatest: Point) -> Bounds {
    Bounds { least, greatest }
}

fn pendant() -> (Field, Bounds) {
    let petal = Field::ellipsoid([6.6, 0.0, 0.9], [3.4, 1.55, 1.0]);
    let bead = Field::ball([10.1, 0.0, 0.9], 0.62);
    let loop_ = Field::torus([0.0, 15.4, 0.2], X, 2.5, 0.85);
    let neck = Field::taper([0.0, 12.0, 0.0], [0.0, 12.9, 0.1], 1.7, 0.8);
    let shape = Field::disc([0.0; 3], Z, 12.6, 1.0, 0.5)
        .blend(Field::torus([0.0, 0.0, 0.35], Z, 12.0, 1.15), 0.5)
        .blend(petal.repeated_around_z(8), 0.35)
        .blend(bead.repeated_around_z(24), 0.25)
        .blend(Field::ellipsoid([0.0, 0.0, 0.8], [2.4, 2.4, 1.7]), 0.4)
        .blend(neck, 0.9)
        .blend(loop_, 0.5);
    (shape, room([-14.0, -14.0, -4.0], [14.0, 19.8, 4.4]))
}

fn cufflink() -> (Field, Bounds) {
    let bead = Field::ball([7.3, 0.0, 1.0], 0.68).repeated_around_z(26);
    let face = Field::disc([0.0; 3], Z, 8.4, 1.0, 0.5)
        .blend(Field::ellipsoid([0.0, 0.0, 0.7], [5.9, 5.9, 2.1]), 0.5)
        .blend(bead, 0.2);
    let stem = Field::taper([0.0, 0.0, -1.2], [0.0, 0.0, -14.0], 1.5, 1.25);
    let toggle = Field::ellipsoid([0.0, 0.0, -15.2], [9.0, 2.3, 2.3]);
    let shape = face.blend(stem, 2.2).blend(toggle, 1.0);
    (shape, room([-9.8, -9.2, -18.2], [9.8, 9.2, 3.6]))
}

fn instrument_key() -> (Field, Bounds) {
    let cup = Field::disc([23.0, 0.0, 0.0], Z, 7.6, 1.5, 0.6)
        .less(Field::disc([23.0, 0.0, -1.4], Z, 6.5, 1.5, 0.3), 0.2);
    let touch = Field::ellipsoid([-20.0, 0.0, 2.6], [8.5, 4.4, 1.5])
        .less(Field::ball([-20.5, 0.0, 24.6], 21.2), 0.6);
    let arm_points: [(Point, f64); 7] = [
        ([-15.0, 0.0, 2.2], 1.5),
        ([-8.0, 0.0, 2.9], 1.7),
        ([0.0, 0.0, 2.4], 2.1),
        ([8.0, 0.0, 3.6], 1.9),
        ([15.0, 0.0, 3.7], 1.7),
        ([20.0, 0.0, 2.6], 1.6),
        ([24.5, 0.0, 1.2], 1.2),
    ];
    let arm = Field::led(&arm_points);
    let tube = Field::disc([0.0; 3], Y, 2.5, 9.0, 0.35);
    let shape = arm
        .blend(cup, 1.0)
        .blend(touch, 1.2)
        .blend(tube, 1.0)
        .less(Field::bore([0.0; 3], Y, 1.35), 0.2);
    (shape, room([-30.0, -10.2, -3.6], [32.2, 10.2, 6.6]))
}

fn hinge_leaf() -> (Field, Bounds) {
    let outline = Field::disc([0.0, -6.0, 0.0], Z, 24.5, 4.0, 0.5);
    let plate = Field::block([0.0; 3], [20.0, 14.0, 1.3], 0.5).within(outline, 0.8);
    let knuckle = |x: f64| Field::disc([x, -15.4, 1.9], X, 3.2, 4.9, 0.4);
    let hole = |x: f64, y: f64| Field::screw_hole([x, y, 1.35], Z, 1.6, 3.2);
    let shape = plate
        .blend(knuckle(-10.4), 1.4)
        .blend(knuckle(10.4), 1.4)
        .less(Field::bore([0.0, -15.4, 1.9], X, 1.6), 0.2)
        .less(hole(-13.0, 1.5), 0.15)
        .less(hole(13.0, 1.5), 0.15)
        .less(hole(0.0, 8.5), 0.15);
    (shape, room([-21.2, -19.8, -2.6], [21.2, 15.4, 6.4]))
}

fn hook() -> (Field, Bounds) {
    let plate = Field::ellipsoid([0.0, 1.0, 0.0], [9.0, 4.2, 23.0])
        .within(Field::block([0.0, -1.6, 0.0], [12.0, 1.8, 24.0], 0.2), 1.2);
    let bend: Vec<(Point, f64)> = (0..=7)
        .map(|step| {
            let share = f64::from(step) / 7.0;
            let angle = -PI * 0.12 - share * PI * 1.02;
            let centre = [0.0, -15.5, -4.0];
            let radius = 13.5 - 1.5 * share;
            let point =
                [0.0, centre[1] + radius * angle.cos(), centre[2] + radius * angle.sin() * 1.15];
            (point, 3.4 - 1.2 * share)
        })
        .collect();
    let tip = bend.last().map_or([0.0; 3], |(point, _)| *point);
    let hole = |z: f64| Field::screw_hole([0.0, -3.2, z], [0.0, -1.0, 0.0], 1.9, 3.6);
    let shape = plate
        .blend(Field::led(&bend), 2.6)
        .blend(Field::ball([tip[0], tip[1], tip[2] + 1.6], 3.9), 1.0)
        .less(hole(15.2), 0.2)
        .less(hole(6.6), 0.2);
    (shape, room([-10.4, -33.6, -25.0], [10.4, 2.0, 25.0]))
}

fn signet_ring() -> (Field, Bounds) {
    let band = Field::disc([0.0; 3], Y, 10.9, 2.4, 1.3);
    let table = Field::block([0.0, 0.0, 0.0], [14.0, 14.0, 12.6], 0.0);
    let head = Field::ellipsoid([0.0, 0.0, 8.2], [9.4, 7.4, 6.4]).within(table, 0.7);
    // A border engraved around the oval table.
    let groove = Field::new(|[x, y, z]| {
        let k = (x / 6.1).hypot(y / 4.8);
        let away = (k - 1.0) * 5.4;
        away.hypot(z - 12.8) - 0.65
    });
    let shape = band.blend(head, 4.0).less(Field::bore([0.0; 3], Y, 9.0), 0.5).less(groove, 0.25);
    (shape, room([-12.2, -8.6, -12.2], [12.2, 8.6, 13.6]))
}

fn plain_band() -> Lathe {
    let (inner, outer, half, easing) = (8.65, 10.45, 2.25, 0.25);
    let corner = |r: f64, z: f64, from: f64| {
        (0..=4).map(move |step| {
            let angle = from + FRAC_PI_2 * f64::from(step) / 4.0;
            [r + easing * angle.cos(), z + easing * angle.sin()]
        })
    };
    let profile = corner(inner + easing, -half + easing, PI)
        .chain(corner(outer - easing, -half + easing, -FRAC_PI_2))
        .chain(corner(outer - easing, half - easing, 0.0))
        .chain(corner(inner + easing, half - easing, FRAC_PI_2))
        .collect();
    Lathe { profile, turn: Turn::Closed, around: 180 }
}

fn comfort_band() -> Lathe {
    // Two arcs through the edges at (9.0, ±3): the inner bulges to 8.65, the outer to 10.6.
    let arc = |middle: f64, edge: f64, upwards: bool| {
        (0..24).map(move |step| {
            let share = f64::from(step) / 24.0 * 2.0 - 1.0;
            let z = if upwards { share } else { -share };
            let round = (1.0 - z * z).sqrt();
            [edge + (middle - edge) * round, 3.0 * z]
        })
    };
    let profile = arc(10.6, 9.1, true).chain(arc(8.65, 9.1, false)).collect();
    Lathe { profile, turn: Turn::Closed, around: 192 }
}

fn lobed_bead() -> Mesh {
    const STEPS: u32 = 48;
    // From hole to hole; the angle is measured from the lower pole.
    let side = |radius: f64, hole: f64, upwards: bool| {
        let first = (hole / radius).asin();
        (0..=STEPS).map(move |step| {
            let share = f64::from(step) / f64::from(STEPS);
            let share = if upwards { share } else { 1.0 - share };
            let angle = first + (PI - 2.0 * first) * share;
            [radius * angle.sin(), -radius * angle.cos()]
        })
    };
    let profile = side(7.0, 1.6, true).chain(side(6.25, 1.6, false)).collect();
    Lathe { profile, turn: Turn::Closed, around: 160 }.mesh_bent(|[r, z], angle| {
        // Ten lobes that fade out towards the holes, the same on both sides of the wall.
        let share = ((r - 1.6) / 5.0).clamp(0.0, 1.0);
        [r + 0.5 * share * ((5.0 * angle).sin().abs() - 0.6), z * 0.9]
    })
}

fn drawer_knob() -> Lathe {
    let outline: [[f64; 2]; 12] = [
        [9.0, 0.0],
        [9.3, 0.8],
        [8.6, 2.0],
        [6.6, 3.2],
        [5.2, 6.0],
        [5.0, 9.5],
        [6.2, 13.0],
        [10.5, 16.0],
        [14.2, 18.4],
        [15.2, 20.8],
        [13.6, 23.4],
        [8.0, 25.6],
    ];
    let mut profile = vec![[0.0, 13.0], [1.2, 12.0], [2.1, 11.4], [2.1, 0.6], [2.7, 0.0]];
    profile.extend(flowing(&outline, 5));
    profile.extend([[4.0, 26.2], [0.0, 26.4]]);
    Lathe { profile, turn: Turn::Open, around: 160 }
}
