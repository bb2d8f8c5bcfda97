//! What is lost: by process, alloy, person and job, and flask by flask, over a time.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::metal::losses::{self, OfAlloy as AlloyLoss, OfFlask, OfJob, OfPerson, OfProcess, Span};
use crate::metal::{LossesPage, MetalPage};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, working_of};

/// How far back it looks when nothing is said, in days.
const DAYS: i32 = 365;

#[derive(Template, WebTemplate)]
#[template(path = "metal/losses.html")]
pub(crate) struct Losses {
    frame: Frame,
    form: Form,
    processes: Vec<OfProcess>,
    alloys: Vec<AlloyLoss>,
    flasks: Vec<OfFlask>,
    people: Vec<OfPerson>,
    finishers: Vec<OfPerson>,
    jobs: Vec<OfJob>,
}

impl Losses {
    /// The limits of an alloy as a figure that opens.
    fn limits(&self, of: &AlloyLoss) -> Option<Html> {
        let (lower, upper, working) = of.limits.as_ref()?;
        let figure = Html::trusted(format!(
            "<span class=\"fig\">{lower:.2} to {upper:.2}<span class=\"unit\"> %</span></span>"
        ));
        Some(working_of(&figure, working))
    }

    fn jobs_lost(&self) -> bool {
        !self.jobs.is_empty()
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    from: String,
    #[serde(default)]
    until: String,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Losses, Fault> {
    let zone = &signed.frame.show.zone;
    let today = signed.now.day_in(zone);
    let mut form = Form::filled([("from", wanted.from), ("until", wanted.until)]);
    let from = form.day_or_none("from").unwrap_or_else(|| today.plus_days(-DAYS));
    let until = form.day_or_none("until").unwrap_or(today);
    let span = Span { from: from.start_in(zone), before: until.plus_days(1).start_in(zone) };
    if form.good() {
        form.set("from", &from.to_string());
        form.set("until", &until.to_string());
    }
    let (mut flasks, alloys) = losses::by_flask(&app.pool, span).await?;
    let people = losses::by_person(&flasks);
    flasks.reverse();
    // What is far back is still counted above; the list stays readable.
    flasks.truncate(200);
    Ok(Losses {
        form,
        processes: losses::by_process(&app.pool, span).await?,
        alloys,
        flasks,
        people,
        finishers: losses::filed_by_person(&app.pool, span).await?,
        jobs: losses::by_job(&app.pool, span).await?,
        frame: signed.frame,
    })
}
