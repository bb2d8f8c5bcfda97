//! The programme of a family for a size class, typed line by line and drawn.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use crate::id::FamilyId;
use crate::kilns::{
    Axis, HeatLine, SIZE_CLASSES, SegmentKind, SegmentRow, heat_line, programme_of, set_programme,
};
use crate::people::Owner;
use crate::web::{App, Fault, Form, Frame, see_other};

const AXIS: Axis = Axis { per_minute: 0.8, per_degree: 0.2, floor: 190.0 };

#[derive(Template, WebTemplate)]
#[template(path = "catalogue/programme.html")]
pub(crate) struct ProgrammePage {
    frame: Frame,
    form: Form,
    family: String,
    family_id: Uuid,
    size: String,
    line: HeatLine,
}

impl ProgrammePage {
    fn kiln_path(&self) -> String {
        AXIS.path(0.0, &self.line.kiln)
    }

    fn core_path(&self) -> String {
        AXIS.path(0.0, &self.line.core)
    }

    fn is_size(&self, size: &str) -> bool {
        self.size == size
    }

    fn width(&self) -> f64 {
        self.line.minutes as f64 * AXIS.per_minute + 40.0
    }
}

/// The flask whose core is drawn for a size class, by its most usual inside
/// measures (common practice, no source).
fn usual_flask(size: &str) -> (f64, f64, f64) {
    match size {
        "S" => (60.0, 80.0, 40.0),
        "M" => (86.0, 120.0, 40.0),
        _ => (120.0, 180.0, 40.0),
    }
}

async fn family_name(app: &App, family: Uuid) -> Result<String, Fault> {
    Ok(sqlx::query_scalar("SELECT name FROM burnout_families WHERE id = $1")
        .bind(family)
        .fetch_one(&app.pool)
        .await?)
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((family, size)): Path<(Uuid, String)>,
) -> Result<ProgrammePage, Fault> {
    if !SIZE_CLASSES.contains(&size.as_str()) {
        return Err(Fault::NotFound);
    }
    let mut conn = app.pool.acquire().await?;
    let segments = programme_of(&mut conn, FamilyId(family), &size).await?;
    let text: Vec<String> = segments
        .iter()
        .map(|segment| match segment.kind {
            SegmentKind::Ramp => format!("ramp {} {}", segment.target_c, segment.minutes),
            SegmentKind::Hold => format!("hold {}", segment.minutes),
        })
        .collect();
    let form = Form::filled([("programme", text.join("\n"))]);
    let line = heat_line(&segments, (!segments.is_empty()).then(|| usual_flask(&size)));
    let family_words = family_name(&app, family).await?;
    Ok(ProgrammePage {
        frame: signed.frame,
        form,
        family: family_words,
        family_id: family,
        size,
        line,
    })
}

/// Reads lines such as `ramp 150 60` and `hold 120`.
fn read(form: &mut Form) -> Vec<SegmentRow> {
    let typed = form.text("programme", 4000);
    let mut segments: Vec<SegmentRow> = Vec::new();
    for (n, line) in typed.lines().enumerate() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let minutes =
            |word: &str| word.parse::<i32>().ok().filter(|minutes| (1..=10_080).contains(minutes));
        let segment = match words.as_slice() {
            [] => continue,
            ["ramp", target, last] => target
                .replace(',', ".")
                .parse::<f64>()
                .ok()
                .filter(|celsius| (0.0..=1400.0).contains(celsius))
                .zip(minutes(last))
                .map(|(target_c, minutes)| SegmentRow {
                    kind: SegmentKind::Ramp,
                    target_c,
                    minutes,
                }),
            ["hold", last] => minutes(last).map(|minutes| SegmentRow {
                kind: SegmentKind::Hold,
                target_c: segments.last().map_or(20.0, |before| before.target_c),
                minutes,
            }),
            _ => None,
        };
        match segment {
            Some(segment) => segments.push(segment),
            None => {
                form.wrong(
                    "programme",
                    format!("Line {} is not understood. Write “ramp 150 60” (to 150 °C in 60 minutes, at most 1400 °C) or “hold 120”.", n + 1),
                );
                return Vec::new();
            }
        }
    }
    if segments.is_empty() {
        form.wrong("programme", "At least one line is needed.");
    }
    segments
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((family, size)): Path<(Uuid, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    if !SIZE_CLASSES.contains(&size.as_str()) {
        return Err(Fault::NotFound);
    }
    let segments = read(&mut form);
    if !form.good() {
        let family_words = family_name(&app, family).await?;
        let page = ProgrammePage {
            frame: signed.frame,
            form,
            family: family_words,
            family_id: family,
            size,
            line: HeatLine::default(),
        };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut tx = app.pool.begin().await?;
    set_programme(&mut tx, FamilyId(family), &size, &segments).await?;
    tx.commit().await?;
    Ok(see_other(&format!("/studio/programmes/{family}/{size}")))
}
