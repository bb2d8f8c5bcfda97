//! One trial: its draw, its outcome so far, and what may be said.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use foundry::yields::{Tally, Verdict};

use crate::id::AttemptId;
use crate::people::Signed;
use crate::trials::model::{self, Answer, Effect, Setting};
use crate::trials::view::{self, PieceRow, TrialRow, Waiting};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

/// What the trial has shown.
struct Shown {
    first: Html,
    second: Html,
    effect: Effect,
    verdict: Verdict,
    chance: Html,
}

#[derive(Template, WebTemplate)]
#[template(path = "trials/show.html")]
pub(crate) struct ShowTrial {
    frame: Frame,
    form: Form,
    trial: TrialRow,
    pieces: Vec<PieceRow>,
    waiting: Vec<Waiting>,
    first: Tally,
    second: Tally,
    least: u64,
    shown: Option<Shown>,
}

impl ShowTrial {
    fn arm(&self, arm: &i16) -> &str {
        if *arm == 1 { &self.trial.first_arm } else { &self.trial.second_arm }
    }

    /// The answer in one sentence.
    fn sentence(&self, shown: &Shown) -> String {
        let points = |points: f64| format!("{:.0}", points.abs());
        let (first, second) = (&self.trial.first_arm, &self.trial.second_arm);
        let (low, high) = (shown.effect.low, shown.effect.high);
        match shown.verdict {
            Verdict::FirstBetter => format!(
                "“{first}” came out better than “{second}”: {} more of every hundred pieces, give or take from {low:.0} to {high:.0}.",
                points(shown.effect.points)
            ),
            Verdict::SecondBetter => format!(
                "“{second}” came out better than “{first}”: {} more of every hundred pieces, give or take from {:.0} to {:.0}.",
                points(shown.effect.points),
                -high,
                -low
            ),
            Verdict::NotShown | Verdict::TooFew { .. } => format!(
                "No difference was shown. Of every hundred pieces “{first}” may yield from {low:.0} to {high:.0} more than “{second}”; a larger trial could tell more."
            ),
        }
    }

    /// Whether the answer can become a usual choice.
    fn can_be_usual(&self) -> bool {
        self.trial.setting != Setting::Other
            && self.shown.as_ref().is_some_and(|shown| model::better(shown.verdict).is_some())
    }

    fn not_as_drawn(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.as_drawn == Some(false)).count()
    }

    fn lost_before(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.lost_before).count()
    }

    fn still_to_draw(&self) -> i64 {
        (2 * i64::from(self.trial.each_arm) - self.trial.drawn).max(0)
    }

    fn percent(&self, share: &f64) -> Html {
        self.frame.show.number(share * 100.0, 0, "%")
    }

    fn picked(&self, attempt: &AttemptId) -> bool {
        let attempt = attempt.to_string();
        self.form.all("pieces").any(|ticked| ticked == attempt)
    }
}

/// Makes the page; a form that was refused is shown with what was ticked in it.
pub(super) async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    form: Form,
) -> Result<ShowTrial, Fault> {
    let trial = view::load(&app.pool, number).await?;
    let pieces = view::pieces(&app.pool, trial.id).await?;
    let (first, second) = view::tallies(&app.pool, trial.id).await?;
    let waiting = if trial.ended_at.is_none() {
        view::waiting(&app.pool, trial.setting, 80).await?
    } else {
        Vec::new()
    };
    let show = &signed.frame.show;
    let (least, shown) = match model::answer(first, second, trial.each_arm) {
        Answer::NotYet { least } => (least, None),
        Answer::Is { compared, effect } => {
            let value = &compared.value;
            let share = |share: f64| show.number(share, 0, "%");
            let shown = Shown {
                first: share(value.first.counted.percent()),
                second: share(value.second.counted.percent()),
                effect,
                verdict: value.verdict,
                chance: working_of(&show.number(value.fisher.two_sided, 3, ""), &compared.working),
            };
            (first.total().min(second.total()), Some(shown))
        }
    };
    let frame = signed.frame.clone();
    Ok(ShowTrial { frame, form, trial, pieces, waiting, first, second, least, shown })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowTrial, Fault> {
    page(&app, &signed, number, Form::default()).await
}
