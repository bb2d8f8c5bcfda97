//! The page of known shapes.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::response::Response;

use super::KnownShapes;
use super::bench::{self, Check};
use super::shapes::ALL;
use super::view::{self, Shown};
use crate::designs::Designs;
use crate::jobs;
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Html, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "known/show.html")]
pub(crate) struct ShowKnown {
    frame: Frame,
    shapes: Vec<Shown>,
}

impl ShowKnown {
    fn open(&self) -> bool {
        self.shapes.iter().any(Shown::open)
    }

    /// Whether there is anything to ask for.
    fn lacks(&self) -> bool {
        self.shapes.iter().any(|shape| shape.judged.is_none() && !shape.open())
    }

    /// How many answers agree, of how many.
    fn agreeing(&self) -> (usize, usize) {
        let checks = || {
            self.shapes
                .iter()
                .filter_map(|shape| shape.judged.as_ref())
                .flat_map(|judged| &judged.checks)
        };
        (checks().filter(|check| check.agrees()).count(), checks().count())
    }

    fn rows(&self, checks: &[Check]) -> Vec<(String, Html, Html, String, bool)> {
        checks
            .iter()
            .map(|check| {
                let agrees = check.agrees();
                match check {
                    Check::Number { what, known, found, unit, basis, .. } => {
                        let decimals = if known.fract() == 0.0 && *known < 10.0 && unit.is_empty() {
                            0
                        } else {
                            3
                        };
                        let shown = |value: f64| self.frame.show.number(value, decimals, unit);
                        let found = found.map_or_else(|| Html::escaped("nothing"), shown);
                        (what.clone(), shown(*known), found, basis.clone(), agrees)
                    }
                    Check::Words { what, known, found, basis } => (
                        what.clone(),
                        Html::escaped(known),
                        Html::escaped(found),
                        basis.clone(),
                        agrees,
                    ),
                }
            })
            .collect()
    }
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowKnown, Fault> {
    Ok(ShowKnown { frame: signed.frame, shapes: view::all(&app.pool).await? })
}

/// Asks for all that are not worked out.
pub(crate) async fn ask(State(app): State<App>, signed: Signed) -> Result<Response, Fault> {
    let mut tx = app.pool.begin().await?;
    for known in ALL {
        let input = serde_json::Value::String(known.slug.to_owned());
        // Behind first answers, before what takes minutes.
        jobs::ask(&mut tx, bench::KIND, &bench::key(known.slug), &input, 2, signed.now).await?;
    }
    tx.commit().await?;
    Ok(see_other(&KnownShapes.to_string()))
}
