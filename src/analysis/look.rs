//! The closer look at a model: union, walls, gaps, bore, repairs.

use std::ops::ControlFlow;
use std::time::Instant;

use foundry::mesh::{ThicknessOptions, bore, gaps_watched, measure_mesh, thickness_watched, union};
use foundry::quantity::Millimetres;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::paint::{Scale, Tone};
use super::surface::{ModelOf, filled_in, repaired, shown, surface};
use crate::files;
use crate::id::FileId;
use crate::jobs::{self, Fault, Watch};
use crate::json::examined::{BoreJson, ExaminedJson, ThicknessJson};
use crate::web::App;

/// The kind of the job.
pub(super) const KIND: &str = "look";
/// Counts up when the same question gets another answer, so that it is asked anew.
const FORM: u32 = 2;
/// Gaps narrower than this: investment in them is a fin that breaks off (common practice, no source).
pub(super) const NARROW_MM: f64 = 0.5;

/// What is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookCase {
    /// The model.
    pub model: ModelOf,
    /// Walls thinner than this count as thin.
    pub limit_mm: f64,
}

impl LookCase {
    /// What it is known by.
    #[must_use]
    pub fn key(&self) -> String {
        format!("{FORM} {} {} {}", self.model.digest, self.model.unit, self.limit_mm)
    }
}

/// What is found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookFound {
    /// Walls, bore, union, repairs.
    #[serde(flatten)]
    pub examined: ExaminedJson,
    /// The gaps; none when there is nothing to measure.
    pub gaps: Option<ThicknessJson>,
    /// The centre of mass, where there is an inside.
    pub centre_mm: Option<[f64; 3]>,
    /// The surface to look at, with walls and gaps as its fields.
    pub surface: FileId,
    /// How many facets it has.
    pub shown_facets: usize,
    /// How many the model has.
    pub facets: usize,
    /// The walls' scale and picture.
    pub walls_shown: Option<ShownJson>,
    /// The gaps' scale and picture.
    pub gaps_shown: Option<ShownJson>,
    /// How long it took.
    pub seconds: f64,
}

/// A field as it is shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShownJson {
    /// Its colours.
    pub scale: Scale,
    /// A picture.
    pub picture: FileId,
}

/// What the arithmetic leaves, before it is stored.
struct Looked {
    examined: ExaminedJson,
    gaps: Option<ThicknessJson>,
    centre_mm: Option<[f64; 3]>,
    surface: Vec<u8>,
    shown_facets: usize,
    facets: usize,
    walls_shown: Option<(Scale, Vec<u8>)>,
    gaps_shown: Option<(Scale, Vec<u8>)>,
    seconds: f64,
}

pub(super) async fn run(app: App, input: Value, watch: Watch) -> Result<Value, Fault> {
    let case: LookCase = serde_json::from_value(input)?;
    let bytes = files::read(&app.pool, case.model.file).await?;
    let (model, largest) = (case.model.clone(), app.largest_model);
    let looked =
        jobs::at_leisure(move || look(&bytes, &model, largest, case.limit_mm, &watch)).await??;
    let now = app.clock.now();
    let stem = &case.model.name;
    let mut tx = app.pool.begin().await?;
    let surface = files::put(
        &mut tx,
        &looked.surface,
        &format!("{stem} surface"),
        "application/octet-stream",
        now,
    )
    .await?;
    let mut stored = Vec::new();
    for (what, field) in [("walls", looked.walls_shown), ("gaps", looked.gaps_shown)] {
        stored.push(match field {
            Some((scale, png)) => {
                let name = format!("{stem} {what}.png");
                let picture = files::put(&mut tx, &png, &name, "image/png", now).await?;
                Some(ShownJson { scale, picture })
            }
            None => None,
        });
    }
    tx.commit().await?;
    let gaps_shown = stored.pop().flatten();
    let walls_shown = stored.pop().flatten();
    let found = LookFound {
        examined: looked.examined,
        gaps: looked.gaps,
        centre_mm: looked.centre_mm,
        surface,
        shown_facets: looked.shown_facets,
        facets: looked.facets,
        walls_shown,
        gaps_shown,
        seconds: looked.seconds,
    };
    Ok(serde_json::to_value(found)?)
}

fn look(
    bytes: &[u8],
    model: &ModelOf,
    largest: usize,
    limit_mm: f64,
    watch: &Watch,
) -> Result<Looked, Fault> {
    let begun = Instant::now();
    let go_on = |doing, share| if watch.tell(doing, share) { Ok(()) } else { Err(Fault::Stopped) };
    go_on("reading the model", 0.0)?;
    let limit = Millimetres::new(limit_mm).map_err(|why| Fault::Refused(why.to_string()))?;
    let repaired = repaired(bytes, model, largest).map_err(Fault::Refused)?;
    let mesh = &repaired.mesh;
    go_on("joining its bodies", 0.1)?;
    let united = union(mesh);
    go_on("feeling the walls", 0.3)?;
    let options = ThicknessOptions { limit, ..ThicknessOptions::default() };
    let felt = |doing, from: f64, to: f64| {
        move |share: f64| match watch.tell(doing, from + share * (to - from)) {
            true => ControlFlow::Continue(()),
            false => ControlFlow::Break(()),
        }
    };
    let walls = thickness_watched(mesh, &options, &felt("feeling the walls", 0.3, 0.6));
    go_on("feeling the gaps", 0.6)?;
    let narrow = Millimetres::new(NARROW_MM).map_err(|why| Fault::Refused(why.to_string()))?;
    let options_of_gaps = ThicknessOptions { limit: narrow, ..options };
    let between = gaps_watched(mesh, &options_of_gaps, &felt("feeling the gaps", 0.6, 0.85)).ok();
    go_on("looking for a bore", 0.85)?;
    let bore = bore(mesh);
    let centre_mm = measure_mesh(mesh).ok().and_then(|measure| measure.centre_of_mass);
    go_on("drawing", 0.9)?;
    let copy = shown(mesh);
    let sparse = mesh.triangles().len() > 2 * options.places;
    let brought = |field: &[f32]| {
        let least = copy.least(field);
        if sparse { filled_in(&copy.mesh, least) } else { least }
    };
    let wall_field = walls.as_ref().ok().map(|walls| brought(&walls.by_ball));
    // Gaps that nothing narrows are no gaps: what is not near is left out.
    let gap_field = between.as_ref().map(|gaps| copy.least(&gaps.by_ball));
    let none = vec![f32::INFINITY; copy.mesh.vertices().len()];
    let fields = [wall_field.as_ref().unwrap_or(&none), gap_field.as_ref().unwrap_or(&none)];
    let painted = |tone, field: &Option<Vec<f32>>, limit: f64| {
        let values = field.as_ref()?;
        super::surface::ends(values)?;
        let scale = Scale::above_zero(tone, values, limit as f32);
        Some((scale, scale.picture(&copy.mesh, values)))
    };
    let (united, union_volume_refused) = crate::json::examined::apart(united);
    let (walls, thickness_refused) = crate::json::examined::apart(walls);
    Ok(Looked {
        examined: ExaminedJson {
            union_volume_mm3: united.map(|union| union.volume.get()),
            union_volume_error_mm3: united.map(|union| union.error.get()),
            union_volume_refused,
            thickness: walls.map(|walls| ThicknessJson::new(&walls, limit)),
            thickness_refused,
            bore: bore.map(|bore| BoreJson::from(&bore)),
            repairs: repaired.changes.iter().map(ToString::to_string).collect(),
        },
        gaps: between.map(|gaps| ThicknessJson::new(&gaps, narrow)),
        centre_mm,
        surface: surface(&copy.mesh, &[fields[0], fields[1]]),
        shown_facets: copy.mesh.triangles().len(),
        facets: mesh.triangles().len(),
        walls_shown: painted(Tone::Walls, &wall_field, limit_mm),
        gaps_shown: painted(Tone::Gaps, &gap_field, NARROW_MM),
        seconds: begun.elapsed().as_secs_f64(),
    })
}
