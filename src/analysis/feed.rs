//! Where a model freezes last, and whether its sprues feed it until then.

use std::ops::ControlFlow;
use std::time::Instant;

use foundry::freeze::{
    self, FreezeRefusal, Part, Progress, Sprue, Surface, advise, feed, over_range,
};
use foundry::mesh::Mesh;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::look::ShownJson;
use super::paint::{Scale, Tone};
use super::surface::{ModelOf, ends, field, repaired, shown};
use super::{CastAlloy, Casting};
use crate::files;
use crate::id::FileId;
use crate::jobs::{self, Fault, Watch};
use crate::json::feed::{FeedJson, OverRangeJson, SprueJson};
use crate::web::App;

/// The kind of the job.
pub(super) const KIND: &str = "feed";
/// Counts up when the same question gets another answer, so that it is asked anew.
const FORM: u32 = 1;

/// How far an answer goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// A first answer, in seconds.
    First,
    /// What would do, and how far the answer holds; many calculations.
    Advice,
    /// The same as the first on smaller cubes.
    Fine,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FeedCase {
    /// The model.
    pub model: ModelOf,
    /// The alloy, with its own numbers.
    pub alloy: CastAlloy,
    /// Temperature of the metal as poured.
    pub metal_c: f64,
    /// Temperature of the flask.
    pub flask_c: f64,
    /// The sprues.
    pub sprues: Vec<SprueJson>,
    /// How far the answer goes.
    pub stage: Stage,
}

impl FeedCase {
    /// The question about a model that is cast in a way.
    #[must_use]
    pub fn of(model: ModelOf, alloy: CastAlloy, casting: &Casting) -> Self {
        Self {
            model,
            alloy,
            metal_c: casting.metal_c,
            flask_c: casting.flask_c,
            sprues: casting.sprues.clone(),
            stage: Stage::First,
        }
    }

    /// The same question at another stage.
    #[must_use]
    pub fn at(&self, stage: Stage) -> Self {
        Self { stage, ..self.clone() }
    }

    /// What it is known by: a digest of everything that goes into the arithmetic.
    #[must_use]
    pub fn key(&self) -> String {
        let CastAlloy { name, family, solidus_c, liquidus_c, .. } = &self.alloy;
        let inputs = format!(
            "{FORM} {} {} {name} {family} {solidus_c:?} {liquidus_c:?} {} {} {:?} {:?}",
            self.model.digest, self.model.unit, self.metal_c, self.flask_c, self.sprues, self.stage
        );
        Sha256::digest(inputs).iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// What is found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FeedFound {
    /// The answer.
    pub feed: FeedJson,
    /// The alloy whose heat data stand in, where the own are not known.
    pub stands_in: Option<String>,
    /// For each point of the surface that is shown when it stops feeding; none at a stage that
    /// does not draw.
    pub times: Option<FileId>,
    /// The times' scale and picture.
    pub shown: Option<ShownJson>,
    /// Sprues and their buttons as they were attached.
    pub rods: Vec<RodJson>,
}

/// A round rod of metal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RodJson {
    /// One end of its axis.
    pub from_mm: [f64; 3],
    /// The other.
    pub to_mm: [f64; 3],
    /// Its diameter.
    pub diameter_mm: f64,
    /// Whether it is the button at a sprue's end.
    pub button: bool,
}

struct Fed {
    feed: FeedJson,
    drawn: Option<(Vec<u8>, Scale, Vec<u8>)>,
    rods: Vec<RodJson>,
}

pub(super) async fn run(app: App, input: Value, watch: Watch) -> Result<Value, Fault> {
    let case: FeedCase = serde_json::from_value(input)?;
    let bytes = files::read(&app.pool, case.model.file).await?;
    let largest = app.largest_model;
    let (stands_in, name) = (case.alloy.heat().and_then(|(_, like)| like), case.model.name.clone());
    let fed = jobs::at_leisure(move || freeze(&bytes, &case, largest, &watch)).await??;
    let (mut times, mut shown) = (None, None);
    if let Some((field, scale, png)) = fed.drawn {
        let now = app.clock.now();
        let mut tx = app.pool.begin().await?;
        let stored =
            files::put(&mut tx, &field, &format!("{name} times"), "application/octet-stream", now)
                .await?;
        let picture =
            files::put(&mut tx, &png, &format!("{name} freezing.png"), "image/png", now).await?;
        tx.commit().await?;
        (times, shown) = (Some(stored), Some(ShownJson { scale, picture }));
    }
    Ok(serde_json::to_value(FeedFound { feed: fed.feed, stands_in, times, shown, rods: fed.rods })?)
}

fn refused(why: FreezeRefusal) -> Fault {
    match why {
        FreezeRefusal::Stopped => Fault::Stopped,
        why => {
            let mut sentence = why.to_string();
            if let Some(first) = sentence.get_mut(..1) {
                first.make_ascii_uppercase();
            }
            Fault::Refused(sentence + ".")
        }
    }
}

fn freeze(bytes: &[u8], case: &FeedCase, largest: usize, watch: &Watch) -> Result<Fed, Fault> {
    let begun = Instant::now();
    if !watch.tell("reading the model", 0.0) {
        return Err(Fault::Stopped);
    }
    let (conditions, _) = case.alloy.conditions(case.metal_c, case.flask_c).ok_or_else(|| {
        Fault::Refused(format!(
            "No heat data of {} are known here, so its freezing is not computed.",
            case.alloy.name
        ))
    })?;
    let repaired = repaired(bytes, &case.model, largest).map_err(Fault::Refused)?;
    let mesh = &repaired.mesh;
    let mut asked = freeze::FeedCase::new(mesh.vertices(), mesh.triangles(), conditions);
    asked.sprues = case.sprues.iter().map(sprue).collect();
    if case.stage == Stage::Fine {
        asked.pitch_mm = Some(asked.fine_pitch_mm().map_err(refused)?);
    }
    let mut go_on = |progress: Progress| {
        let share = match (case.stage, progress.doing) {
            (Stage::Advice, "trying sprues") => 0.1 + 0.75 * progress.share,
            (Stage::Advice, _) => 0.1 * progress.share,
            _ => 0.95 * progress.share,
        };
        if watch.tell(progress.doing, share) {
            ControlFlow::Continue(())
        } else {
            ControlFlow::Break(())
        }
    };
    let answer = feed(&asked, &mut go_on).map_err(refused)?;
    let mut written = FeedJson::new(&answer);
    let mut drawn = None;
    if case.stage == Stage::Advice {
        let found = advise(&asked, &answer, &mut go_on).map_err(refused)?;
        written.advice = found.advice.iter().map(ToString::to_string).collect();
        written.proposed_sprues = found.sprues.iter().map(SprueJson::from).collect();
        let mut last = |_: Progress| {
            let more = watch.tell("at the ends of the heat data", 0.9);
            if more { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        };
        let range = over_range(&asked, &mut last).map_err(refused)?;
        written.over_range = Some(OverRangeJson::from(range));
    } else {
        let copy = shown(mesh);
        let times = answer.freezing.feeds_until_at_vertices_s(copy.mesh.vertices());
        if let Some((from, to)) = ends(&times) {
            let scale = Scale { tone: Tone::Times, from, to };
            let rods = rods(mesh, &asked)?;
            drawn = Some((field(&times), scale, picture(&copy.mesh, times, &rods, scale)));
        }
    }
    written.wall_seconds = begun.elapsed().as_secs_f64();
    let rods = rods(mesh, &asked)?;
    Ok(Fed { feed: written, drawn, rods })
}

fn sprue(sprue: &SprueJson) -> Sprue {
    Sprue {
        at_mm: sprue.at_mm,
        diameter_mm: sprue.diameter_mm,
        length_mm: sprue.length_mm,
        direction: None,
    }
}

fn rods(mesh: &Mesh, asked: &freeze::FeedCase<'_>) -> Result<Vec<RodJson>, Fault> {
    let surface = Surface::new(mesh.vertices(), mesh.triangles()).map_err(refused)?;
    let modulus = asked.modulus_mm().map_err(refused)?;
    let mut rods = Vec::new();
    for (n, sprue) in asked.sprues.iter().enumerate() {
        for rod in surface.attach(n + 1, sprue, modulus).map_err(refused)? {
            rods.push(RodJson {
                from_mm: rod.from_mm,
                to_mm: std::array::from_fn(|a| rod.from_mm[a] + rod.along[a] * rod.length_mm),
                diameter_mm: rod.diameter_mm,
                button: rod.part == Part::Button,
            });
        }
    }
    Ok(rods)
}

/// The model with its times, and the rods in a plain colour.
fn picture(mesh: &Mesh, mut times: Vec<f32>, rods: &[RodJson], scale: Scale) -> Vec<u8> {
    let mut whole = mesh.clone();
    for rod in rods.iter().filter(|rod| !rod.button) {
        if let Some(joined) = cylinder(rod).and_then(|cylinder| whole.joined(&cylinder).ok()) {
            whole = joined;
        }
    }
    times.resize(whole.vertices().len(), f32::NAN);
    scale.picture(&whole, &times)
}

fn cylinder(rod: &RodJson) -> Option<Mesh> {
    let along: [f64; 3] = std::array::from_fn(|a| rod.to_mm[a] - rod.from_mm[a]);
    let length = along.iter().map(|c| c * c).sum::<f64>().sqrt();
    let up = along.map(|c| c / length.max(f64::MIN_POSITIVE));
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    };
    let other = if up[0].abs() < 0.7 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let across = cross(up, other);
    let size = across.iter().map(|c| c * c).sum::<f64>().sqrt();
    let across = across.map(|c| c / size.max(f64::MIN_POSITIVE));
    let third = cross(up, across);
    let standing = foundry::shapes::solid::cylinder(rod.diameter_mm / 2.0, length, 32);
    let place = |[x, y, z]: [f64; 3]| {
        std::array::from_fn(|a| rod.from_mm[a] + across[a] * x + third[a] * y + up[a] * z)
    };
    standing.mapped(place).ok()
}
