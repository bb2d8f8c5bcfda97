//! Puts a known shape through the program's own calculations, as a job.

use std::ops::ControlFlow;
use std::time::Instant;

use foundry::fill::Verdict;
use foundry::freeze::{
    Conditions, FeedAnswer, FeedCase, FreezeRefusal, Progress, Sprue, feed, heat_of,
};
use foundry::mesh::render::{RenderOptions, render};
use foundry::mesh::{Measure, Mesh, Thickness, ThicknessOptions, gaps, measure_mesh, thickness};
use foundry::quantity::Millimetres;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::shapes::{self, Known};
use crate::analysis::{CastAlloy, Casting, Filling, filling};
use crate::files;
use crate::id::{AlloyId, FileId};
use crate::jobs::{self, Fault, Watch};
use crate::json::examined::ThicknessJson;
use crate::web::App;

/// The kind of the job.
pub(super) const KIND: &str = "known";
/// Counts up when a shape, its truth or a calculation changes.
const FORM: u32 = 1;
const PICTURE_PIXELS: u32 = 360;

/// What a job about a shape is known by: another version of the program asks anew.
pub(super) fn key(slug: &str) -> String {
    format!("{FORM} {} {slug}", env!("CARGO_PKG_VERSION"))
}

/// What was known and what was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Check {
    /// A number.
    Number {
        /// What is compared.
        what: String,
        /// The truth.
        known: f64,
        /// What came out; none when nothing did.
        found: Option<f64>,
        /// Its unit.
        unit: String,
        /// How far off it may be, as a share of the truth.
        within: f64,
        /// Where the truth comes from.
        basis: String,
    },
    /// An answer in words.
    Words {
        /// What is compared.
        what: String,
        /// The truth.
        known: String,
        /// What came out.
        found: String,
        /// Where the truth comes from.
        basis: String,
    },
}

impl Check {
    /// Whether what was found is what is known.
    pub(super) fn agrees(&self) -> bool {
        match self {
            Self::Number { known, found, within, .. } => {
                found.is_some_and(|found| (found - known).abs() <= within * known.abs())
            }
            Self::Words { known, found, .. } => known == found,
        }
    }
}

/// What a job leaves.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Judged {
    pub(super) checks: Vec<Check>,
    pub(super) facets: usize,
    pub(super) picture: FileId,
    pub(super) seconds: f64,
}

pub(super) async fn run(app: App, input: Value, watch: Watch) -> Result<Value, Fault> {
    let slug: String = serde_json::from_value(input)?;
    let known = shapes::ALL.iter().find(|known| known.slug == slug).ok_or_else(|| {
        Fault::Refused("This shape is no longer among the known ones.".to_owned())
    })?;
    let (checks, facets, png, seconds) = jobs::at_leisure(move || judge(known, watch)).await??;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let picture = files::put(&mut tx, &png, &format!("{slug}.png"), "image/png", now).await?;
    tx.commit().await?;
    Ok(serde_json::to_value(Judged { checks, facets, picture, seconds })?)
}

fn judge(known: &Known, watch: Watch) -> Result<(Vec<Check>, usize, Vec<u8>, f64), Fault> {
    let begun = Instant::now();
    let mesh = (known.make)();
    let mut bench = Bench { checks: Vec::new(), watch, mesh: &mesh };
    (known.judge)(&mut bench)?;
    let checks = bench.checks;
    let options =
        RenderOptions { width: PICTURE_PIXELS, height: PICTURE_PIXELS, ..RenderOptions::default() };
    let png = render(&mesh, &options).png();
    Ok((checks, mesh.triangles().len(), png, begun.elapsed().as_secs_f64()))
}

/// The calculations, and a list to note what they come to.
pub(super) struct Bench<'m> {
    checks: Vec<Check>,
    watch: Watch,
    /// The shape.
    pub(super) mesh: &'m Mesh,
}

fn refused(why: impl std::fmt::Display) -> Fault {
    Fault::Refused(why.to_string())
}

impl Bench<'_> {
    /// Notes a number: what, truth, finding, unit, how far off it may be, and the truth's basis.
    pub(super) fn number(
        &mut self,
        what: &str,
        known: f64,
        found: Option<f64>,
        unit: &str,
        within: f64,
        basis: &str,
    ) {
        self.checks.push(Check::Number {
            what: what.to_owned(),
            known,
            found,
            unit: unit.to_owned(),
            within,
            basis: basis.to_owned(),
        });
    }

    /// Notes an answer in words.
    pub(super) fn words(&mut self, what: &str, known: &str, found: &str, basis: &str) {
        self.checks.push(Check::Words {
            what: what.to_owned(),
            known: known.to_owned(),
            found: found.to_owned(),
            basis: basis.to_owned(),
        });
    }

    fn go_on(&self, doing: &'static str, share: f64) -> Result<(), Fault> {
        if self.watch.tell(doing, share) { Ok(()) } else { Err(Fault::Stopped) }
    }

    /// Measures a mesh in millimetres.
    pub(super) fn measure(&self, mesh: &Mesh) -> Result<Measure, Fault> {
        self.go_on("measuring", 0.1)?;
        measure_mesh(mesh).map_err(refused)
    }

    /// Feels the walls.
    pub(super) fn walls(&self, limit_mm: f64) -> Result<Thickness, Fault> {
        self.go_on("feeling the walls", 0.2)?;
        let limit = Millimetres::new(limit_mm).map_err(refused)?;
        thickness(self.mesh, &ThicknessOptions { limit, ..ThicknessOptions::default() })
            .map_err(refused)
    }

    /// Feels the gaps.
    pub(super) fn gaps(&self, limit_mm: f64) -> Result<Thickness, Fault> {
        self.go_on("feeling the gaps", 0.2)?;
        let limit = Millimetres::new(limit_mm).map_err(refused)?;
        gaps(self.mesh, &ThicknessOptions { limit, ..ThicknessOptions::default() }).map_err(refused)
    }

    /// Forecasts the filling in sterling silver under vacuum.
    pub(super) fn filling(&self) -> Result<Filling, Fault> {
        let limit_mm = 0.8;
        let walls = self.walls(limit_mm)?;
        let limit = Millimetres::new(limit_mm).map_err(refused)?;
        let sides = self.mesh.bounds().map_or([0.0; 3], |bounds| bounds.size());
        let alloy = sterling();
        filling(&ThicknessJson::new(&walls, limit), sides, &alloy, &Casting::usual(&alloy))
            .map_err(Fault::Refused)
    }

    /// Freezes the shape in sterling silver with some sprues: place, diameter, length.
    pub(super) fn feed(&self, sprues: &[([f64; 3], f64, f64)]) -> Result<FeedAnswer, Fault> {
        let heat = heat_of("sterling silver").map_err(refused)?;
        let conditions = Conditions::usual(heat);
        let mut case = FeedCase::new(self.mesh.vertices(), self.mesh.triangles(), conditions);
        case.sprues = sprues
            .iter()
            .map(|&(at_mm, diameter_mm, length_mm)| Sprue {
                at_mm,
                diameter_mm,
                length_mm,
                direction: None,
            })
            .collect();
        let mut go_on = |progress: Progress| {
            let more = self.watch.tell(progress.doing, progress.share);
            if more { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        };
        feed(&case, &mut go_on).map_err(|why| match why {
            FreezeRefusal::Stopped => Fault::Stopped,
            why => refused(why),
        })
    }
}

/// Sterling silver, range from memory, as in the table of heat data.
fn sterling() -> CastAlloy {
    CastAlloy {
        id: AlloyId(uuid::Uuid::nil()),
        name: "Sterling silver".to_owned(),
        family: "silver".to_owned(),
        solidus_c: Some(802.0),
        liquidus_c: Some(893.0),
        melt_c: 993.0,
        flask_c: 538.0,
        shrinkage: 0.0,
    }
}

/// A verdict in the words of the pages.
pub(super) fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fills => "fills",
        Verdict::Doubtful => "doubtful",
        Verdict::WillNot => "will not",
    }
}
