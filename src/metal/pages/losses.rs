//! What is lost: by process, alloy, person and job, and flask by flask, over a time.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::metal::loss_chart::LossChart;
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

    /// The alloys with limits, drawn.
    fn charts(&self) -> Vec<LossChart> {
        self.alloys.iter().filter_map(LossChart::of).collect()
    }

    /// A share that opens into what it is of.
    fn share(&self, lost: &i64, through: &i64) -> Html {
        let (lost, through) = (Decimal::new(*lost, 2), Decimal::new(*through, 2));
        let share = lost.checked_div(through).unwrap_or_default();
        let mut working = Working::default();
        let grams = |name, amount| Figure::exact(name, amount, "g", Source::MeasuredHere);
        working.step(
            "lost ÷ charged × 100",
            vec![grams("lost", lost), grams("charged", through)],
            Figure::exact(
                "share lost",
                (share * Decimal::ONE_HUNDRED).round_dp(4),
                "%",
                Source::Computed,
            ),
        );
        working_of(&self.frame.show.percent_column(share), &working)
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
    let jobs = losses::by_job(&app.pool, span, &flasks).await?;
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
        jobs,
        frame: signed.frame,
    })
}
