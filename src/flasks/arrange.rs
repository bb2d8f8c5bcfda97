//! How a tree is arranged: wishes in, trees of real shapes out. No SQL, no clock.

use std::collections::HashMap;

use foundry::pack::{
    Attach, Channels, FlaskKind, Heavy, OnTree, Pattern, Rod, Sprue, ToTree, TreeRules, Treed,
    judge_tree, pack_flasks, tree_outline,
};
use serde::{Deserialize, Serialize};

use crate::clock::Day;
use crate::designs::Shape;
use crate::id::{AttemptId, DesignVersionId, FlaskTypeId, PieceId};
use crate::web::{Form, Refused};

/// What people wish of a tree; the starting values are common practice, no source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct TreeWish {
    /// Branches of the sprue; none for a straight one.
    pub(super) branches: u32,
    /// One of [`HEAVY`].
    pub(super) heavy: String,
    /// One of [`ATTACH`].
    pub(super) attach: String,
    pub(super) sprue_mm: f64,
    pub(super) runner_mm: f64,
    pub(super) wall_mm: f64,
    pub(super) apart_mm: f64,
    pub(super) top_mm: f64,
}

/// Sprues to choose from, by the number of branches.
pub(super) const SPRUES: [(&str, &str); 4] =
    [("0", "Straight"), ("2", "Two branches"), ("3", "Three branches"), ("4", "Four branches")];

/// Where heavy pieces may go.
pub(super) const HEAVY: [(&str, &str); 3] = [
    ("low", "Near the base, which becomes the button"),
    ("high", "Near the tip of the sprue"),
    ("anywhere", "Wherever they pack best"),
];

/// Where pieces may be joined.
pub(super) const ATTACH: [(&str, &str); 7] = [
    ("heaviest", "At their heaviest section"),
    ("below", "From below"),
    ("above", "From above"),
    ("left", "From the left"),
    ("right", "From the right"),
    ("front", "From the front"),
    ("back", "From the back"),
];

impl Default for TreeWish {
    fn default() -> Self {
        Self {
            branches: 0,
            heavy: "low".to_owned(),
            attach: "heaviest".to_owned(),
            sprue_mm: 8.0,
            runner_mm: 3.0,
            wall_mm: 7.0,
            apart_mm: 3.0,
            top_mm: 12.0,
        }
    }
}

impl TreeWish {
    /// Fills the fields that nobody has filled in.
    pub(super) fn fill(&self, form: &mut Form) {
        let fields = [
            ("branches", self.branches.to_string()),
            ("heavy", self.heavy.clone()),
            ("attach", self.attach.clone()),
            ("sprue_mm", self.sprue_mm.to_string()),
            ("runner_mm", self.runner_mm.to_string()),
            ("wall_mm", self.wall_mm.to_string()),
            ("apart_mm", self.apart_mm.to_string()),
            ("top_mm", self.top_mm.to_string()),
        ];
        for (name, value) in fields {
            if form.all(name).next().is_none() {
                form.set(name, &value);
            }
        }
    }

    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let mut one_of = |name: &str, known: &[(&str, &str)]| {
            let typed = form.value(name).to_owned();
            if !known.iter().any(|(value, _)| *value == typed) {
                form.wrong(name, "Choose one of these.");
            }
            typed
        };
        let branches = one_of("branches", &SPRUES).parse().ok();
        let heavy = one_of("heavy", &HEAVY);
        let attach = one_of("attach", &ATTACH);
        let sprue_mm = form.number("sprue_mm", 2.0, 40.0);
        let runner_mm = form.number("runner_mm", 1.0, 15.0);
        let wall_mm = form.number("wall_mm", 2.0, 60.0);
        let apart_mm = form.number("apart_mm", 1.0, 60.0);
        let top_mm = form.number("top_mm", 2.0, 100.0);
        if !form.good() {
            return None;
        }
        Some(Self {
            branches: branches?,
            heavy,
            attach,
            sprue_mm: sprue_mm?,
            runner_mm: runner_mm?,
            wall_mm: wall_mm?,
            apart_mm: apart_mm?,
            top_mm: top_mm?,
        })
    }

    fn rules(&self, widest_mm: f64) -> TreeRules {
        let sprue = match self.branches {
            0 => Sprue::Straight { diameter_mm: self.sprue_mm },
            // Halfway between the axis and the wall, where pieces find room on both sides.
            branches => Sprue::Branching {
                diameter_mm: self.sprue_mm,
                branches,
                spread_mm: (widest_mm / 4.0).max(self.sprue_mm),
            },
        };
        TreeRules {
            sprue,
            wall_mm: self.wall_mm,
            top_mm: self.top_mm,
            apart_mm: self.apart_mm,
            runner_diameter_mm: self.runner_mm,
            heavy: match self.heavy.as_str() {
                "high" => Heavy::High,
                "anywhere" => Heavy::Anywhere,
                _ => Heavy::Low,
            },
            ..TreeRules::default()
        }
    }

    fn attach(&self) -> Attach {
        match self.attach.as_str() {
            "below" => Attach::Facing([0.0, 0.0, -1.0]),
            "above" => Attach::Facing([0.0, 0.0, 1.0]),
            "left" => Attach::Facing([-1.0, 0.0, 0.0]),
            "right" => Attach::Facing([1.0, 0.0, 0.0]),
            "front" => Attach::Facing([0.0, -1.0, 0.0]),
            "back" => Attach::Facing([0.0, 1.0, 0.0]),
            _ => Attach::Heaviest,
        }
    }
}

/// A kind of flask the studio has.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub(super) struct Cylinder {
    pub(super) id: FlaskTypeId,
    pub(super) name: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) wall_mm: f64,
    pub(super) channels: i32,
    pub(super) channel_mm: f64,
    /// How many of them stand empty.
    pub(super) free: i64,
}

impl Cylinder {
    pub(super) fn inside_mm(&self) -> f64 {
        f64::from(self.diameter_mm) - 2.0 * self.wall_mm
    }

    fn channels(&self) -> Option<Channels> {
        let count = u32::try_from(self.channels).ok().filter(|count| *count > 0)?;
        let from_axis_mm = (self.inside_mm() - self.channel_mm) / 2.0;
        Some(Channels { count, diameter_mm: self.channel_mm, from_axis_mm })
    }

    fn kind(&self) -> FlaskKind {
        FlaskKind {
            diameter_mm: self.inside_mm(),
            height_mm: f64::from(self.height_mm),
            channels: self.channels(),
            at_hand: Some(usize::try_from(self.free).unwrap_or(0)),
        }
    }
}

/// A piece that is to hang on a tree.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub(super) struct Hanging {
    pub(super) piece: PieceId,
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) version: DesignVersionId,
    pub(super) due_on: Option<Day>,
}

/// A round rod as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct RodKept {
    pub(super) from_mm: [f64; 3],
    pub(super) to_mm: [f64; 3],
    pub(super) diameter_mm: f64,
}

impl From<&Rod> for RodKept {
    fn from(rod: &Rod) -> Self {
        Self { from_mm: rod.from_mm, to_mm: rod.to_mm, diameter_mm: rod.diameter_mm }
    }
}

/// A tree as it is kept with its flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct TreeKept {
    pub(super) wish: TreeWish,
    pub(super) sprue: Vec<RodKept>,
    pub(super) sprue_mm3: f64,
    pub(super) inside_mm: f64,
    pub(super) height_mm: f64,
    /// Axes of the vacuum channels, and how wide they are.
    pub(super) channels_mm: Vec<[f64; 2]>,
    pub(super) channel_mm: f64,
}

/// Closed loops of points, in millimetres.
type Loops = Vec<Vec<[f64; 2]>>;

/// Where a piece hangs, as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Hung {
    pub(super) z_mm: f64,
    /// Direction from the flask's axis.
    pub(super) azimuth_deg: f64,
    pub(super) tilt_deg: f64,
    pub(super) roll_deg: f64,
    pub(super) runner: RodKept,
    /// From the model's coordinates to the flask's.
    pub(super) pose: [[f64; 4]; 3],
    pub(super) above: Loops,
    pub(super) side: Loops,
}

/// A piece of an arranged tree.
#[derive(Clone, Debug)]
pub(super) struct Arranged {
    pub(super) piece: PieceId,
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) tier: i32,
    pub(super) place: i32,
    pub(super) hung: Hung,
}

/// A flask with its tree.
#[derive(Clone, Debug)]
pub(super) struct ArrangedFlask {
    pub(super) cylinder: Cylinder,
    pub(super) tree: TreeKept,
    pub(super) pieces: Vec<Arranged>,
    /// All pieces; none when a model is open.
    pub(super) pieces_mm3: Option<f64>,
}

/// Flasks for all pieces.
#[derive(Clone, Debug, Default)]
pub(super) struct Trees {
    pub(super) flasks: Vec<ArrangedFlask>,
    /// Pieces that go into no flask: their labels, and which they need.
    pub(super) left: Vec<(String, String)>,
    /// Pieces taken as the box round them, because their model could not be read.
    pub(super) boxed: Vec<String>,
}

/// Cells of this edge draw an outline.
const DRAWN_MM: f64 = 0.2;

/// Hangs pieces of one alloy on trees in as few flasks as are found.
pub(super) fn arrange(
    wish: &TreeWish,
    cylinders: &[Cylinder],
    pieces: &[Hanging],
    shapes: &HashMap<DesignVersionId, Shape>,
) -> Result<Trees, Refused> {
    let refused = |why: &dyn std::fmt::Display| Refused::input("", format!("{why}."));
    let mut versions: Vec<DesignVersionId> =
        pieces.iter().map(|piece| piece.version).filter(|id| shapes.contains_key(id)).collect();
    versions.sort_unstable();
    versions.dedup();
    let attach = wish.attach();
    let patterns: Vec<Pattern<'_>> =
        versions.iter().map(|version| Pattern { mesh: &shapes[version].mesh, attach }).collect();
    let mut days: Vec<Day> = pieces.iter().filter_map(|piece| piece.due_on).collect();
    days.sort_unstable();
    days.dedup();
    let rank = |day: Day| days.binary_search(&day).ok().and_then(|at| i64::try_from(at).ok());
    let to_tree: Vec<ToTree> = pieces
        .iter()
        .filter_map(|piece| {
            let pattern = versions.binary_search(&piece.version).ok()?;
            Some(ToTree { pattern, due: piece.due_on.and_then(rank), group: 0 })
        })
        .collect();
    if to_tree.len() != pieces.len() {
        return Err(refused(&"A piece has no model that can be hung on a tree"));
    }
    let kinds: Vec<FlaskKind> = cylinders.iter().map(Cylinder::kind).collect();
    let narrowest = cylinders.iter().map(Cylinder::inside_mm).fold(f64::INFINITY, f64::min);
    let rules = wish.rules(if narrowest.is_finite() { narrowest } else { 0.0 });
    let packed = pack_flasks(&kinds, &patterns, &to_tree, &rules).map_err(|why| refused(&why))?;
    let mut trees = Trees::default();
    for flask in &packed.flasks {
        let faults = judge_tree(&kinds[flask.kind], &patterns, &to_tree, &rules, flask);
        if let Some(fault) = faults.first() {
            return Err(refused(&format!("The tree did not pass its check: {fault}")));
        }
        let hang = |on: &OnTree| hung(&pieces[on.piece], patterns[to_tree[on.piece].pattern], on);
        trees.flasks.push(ArrangedFlask {
            cylinder: cylinders[flask.kind].clone(),
            tree: kept(wish, &cylinders[flask.kind], flask),
            pieces: flask.pieces.iter().map(hang).collect(),
            pieces_mm3: flask.pieces_mm3,
        });
    }
    let label = |piece: usize| pieces[piece].label.clone();
    trees.left = packed.left.iter().map(|(piece, why)| (label(*piece), why.to_string())).collect();
    let boxed = |piece: &&Hanging| shapes.get(&piece.version).is_some_and(|shape| shape.boxed);
    trees.boxed = pieces.iter().filter(boxed).map(|piece| piece.label.clone()).collect();
    Ok(trees)
}

fn kept(wish: &TreeWish, cylinder: &Cylinder, flask: &Treed) -> TreeKept {
    TreeKept {
        wish: wish.clone(),
        sprue: flask.sprue.iter().map(RodKept::from).collect(),
        sprue_mm3: flask.sprue_mm3,
        inside_mm: cylinder.inside_mm(),
        height_mm: f64::from(cylinder.height_mm),
        channels_mm: cylinder.channels().map(|channels| channels.axes_mm()).unwrap_or_default(),
        channel_mm: cylinder.channel_mm,
    }
}

fn hung(piece: &Hanging, pattern: Pattern<'_>, on: &OnTree) -> Arranged {
    let drawn = tree_outline(pattern.mesh, on, DRAWN_MM).ok();
    let azimuth_deg = drawn.as_ref().map_or(on.azimuth_deg, |drawn| drawn.azimuth_deg);
    let (above, side) = drawn.map(|drawn| (drawn.above, drawn.side)).unwrap_or_default();
    Arranged {
        piece: piece.piece,
        attempt: piece.attempt,
        label: piece.label.clone(),
        tier: i32::try_from(on.tier).unwrap_or(50).clamp(1, 50),
        place: i32::try_from(on.place).unwrap_or(200).clamp(1, 200),
        hung: Hung {
            z_mm: on.z_mm,
            azimuth_deg,
            tilt_deg: on.tilt_deg,
            roll_deg: on.roll_deg,
            runner: RodKept::from(&on.runner),
            pose: on.pose,
            above,
            side,
        },
    }
}
