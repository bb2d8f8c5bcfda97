//! What is lost: by process, alloy, person and job, and flask by flask, over a time.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::metal::losses::{self, OfAlloy as AlloyLoss, OfFlask, OfJob, OfProcess, Span};
use crate::metal::usual::OfPerson;
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
    /// The processes with limits, drawn. Casting of one alloy alone is drawn with its alloy.
    fn process_charts(&self) -> Vec<Html> {
        let alone = self.alloys.len() == 1;
        let each = self.processes.iter().filter(|of| of.one != "flask" || !alone);
        each.filter_map(|of| of.usual.chart(of.name(), of.one)).collect()
    }

    /// The alloys with limits, drawn.
    fn alloy_charts(&self) -> Vec<Html> {
        self.alloys.iter().filter_map(|of| of.usual.chart(&of.alloy, "flask")).collect()
    }

    /// A share that opens into what it is of.
    fn share(&self, lost: &i64, through: &i64) -> Html {
        let (lost, through) = (Decimal::new(*lost, 2), Decimal::new(*through, 2));
        let share = lost.checked_div(through).unwrap_or_default();
        let mut working = Working::default();
        let grams = |name, amount| Figure::exact(name, amount, "g", Source::MeasuredHere);
        working.step(
            "lost ÷ went through × 100",
            vec![grams("lost", lost), grams("went through", through)],
            Figure::exact(
                "share lost",
                (share * Decimal::ONE_HUNDRED).round_dp(4),
                "%",
                Source::Computed,
            ),
        );
        working_of(&self.frame.show.percent_column(share), &working)
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
    let pieces = losses::finished(&app.pool, span).await?;
    let finishing = losses::finished_of_jobs(&pieces);
    let processes = losses::by_process(&app.pool, span, &flasks, &finishing).await?;
    let people = losses::poured_by(&flasks);
    let jobs = losses::by_job(&app.pool, span, &flasks, &finishing).await?;
    flasks.reverse();
    // What is far back is still counted above; the list stays readable.
    flasks.truncate(200);
    Ok(Losses {
        form,
        processes,
        alloys,
        flasks,
        people,
        finishers: losses::finished_by(&pieces),
        jobs,
        frame: signed.frame,
    })
}
