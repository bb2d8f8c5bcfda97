//! A piece that has to be done again: every way, with what it costs and when it is ready then.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State as Shared};
use axum::response::Response;
use rust_decimal::Decimal;
use serde_json::{Value, json};

use crate::clock::Day;
use crate::losses::{self, Rates, StageCost, Typical};
use crate::people::Signed;
use crate::pieces::{self, Stage, State};
use crate::promises::{self, PieceAt};
use crate::rework::actions;
use crate::rework::model;
use crate::rework::view::{self, Before, PieceRow};
use crate::web::{App, Fault, Form, Frame, Html};

/// One way on, and where it leads.
pub(crate) struct Way {
    stage: Stage,
    /// Why it is not open; none when it is.
    closed: Option<&'static str>,
    /// When it is ready then.
    ready: Option<Day>,
    /// What is spent a second time, as far as it is known.
    cost: Decimal,
    unknown: bool,
}

/// A piece that could take its place.
pub(crate) struct Spare {
    piece: PieceRow,
    ready: Option<Day>,
    /// When that piece is ready then, which begins where this one stands.
    theirs: Option<Day>,
}

#[derive(Template, WebTemplate)]
#[template(path = "rework/piece.html")]
pub(crate) struct Rework {
    frame: Frame,
    piece: PieceRow,
    typical: Vec<Typical>,
    costs: Vec<StageCost>,
    ready: Option<Day>,
    /// Whether the days are those of promises.
    promised: bool,
    /// What was spent on this attempt so far.
    spent: Decimal,
    ways: Vec<Way>,
    /// The words offered for what is wrong.
    causes: Vec<String>,
    spares: Vec<Spare>,
    before: Option<Before>,
    form: Form,
}

impl Rework {
    fn day(&self, day: &Option<Day>) -> Html {
        match day {
            Some(day) => Html::escaped(&self.frame.show.day(day)),
            None => Html::trusted("<span class=\"soft\">not known yet</span>".to_owned()),
        }
    }

    fn is_late(&self, day: &Option<Day>) -> bool {
        matches!((day, self.piece.due_on), (Some(ready), Some(due)) if *ready > due)
    }

    fn told(&self, name: &str) -> Option<String> {
        let told = self.before.as_ref()?.detail.get(name)?;
        Some(told.as_str().map_or_else(|| told.to_string(), str::to_owned))
    }

    /// Whether a way leads to the same day.
    fn same(&self, day: &Option<Day>) -> bool {
        day.is_some() && *day == self.ready
    }

    fn days(&self, stage: &Stage) -> Option<&Typical> {
        self.typical.iter().find(|each| each.stage == *stage)
    }
}

fn total(costs: &[StageCost], from: Stage, to: Stage) -> (Decimal, bool) {
    let within: Vec<_> = costs.iter().filter(|cost| (from..=to).contains(&cost.stage)).collect();
    let sum = within.iter().filter_map(|cost| cost.amount).sum();
    (sum, within.iter().any(|cost| cost.amount.is_none()))
}

/// What is known about a piece's ways on.
struct Known {
    piece: PieceRow,
    typical: Vec<Typical>,
    costs: Vec<StageCost>,
    today: Day,
    /// The days of promises: as it stands, from each stage, and of the spares; none where they
    /// cannot be told yet.
    days: Option<Vec<Option<Day>>>,
    spares: Vec<PieceRow>,
}

impl Known {
    async fn load(app: &App, signed: &Signed, label: &str) -> Result<Self, Fault> {
        let piece = view::piece(&app.pool, label).await?;
        let today = signed.now.day_in(&signed.frame.show.zone);
        let costs = async {
            let rates = Rates::load(&app.pool, today, &[piece.made.alloy_id]).await?;
            Ok::<_, Fault>(rates.costs(&app.pool, &piece.made).await?)
        };
        let beside = async {
            let spares = view::spares(&app.pool, &piece).await?;
            let mut wanted = vec![PieceAt::Piece(piece.id)];
            wanted.extend(Stage::ALL.map(PieceAt::Stage));
            wanted.extend(spares.iter().map(|spare| PieceAt::Piece(spare.id)));
            let days = promises::days(&app.pool, piece.order_id, signed.now, &wanted).await?;
            Ok::<_, Fault>((spares, days))
        };
        let typical = async { Ok::<_, Fault>(losses::typical(&app.pool, signed.now).await?) };
        let (typical, costs, (spares, days)) = tokio::try_join!(typical, costs, beside)?;
        Ok(Self { piece, typical, costs, today, days, spares })
    }

    /// A day of promises, else one from the records of each stage.
    fn day(&self, place: usize, state: State) -> Option<Day> {
        match &self.days {
            Some(days) => days.get(place).copied().flatten(),
            None => losses::days_left(&self.typical, state)
                .map(|days| self.today.plus_days(days.ceil() as i32)),
        }
    }

    /// When it is ready as it stands.
    fn ready(&self) -> Option<Day> {
        self.day(0, self.piece.state())
    }

    fn way(&self, stage: Stage, closed: Option<&'static str>) -> Way {
        let state = self.piece.state();
        let then = State { stage, standing: crate::pieces::Standing::Waiting, ..state };
        let (cost, unknown) = total(&self.costs, stage, state.stage);
        Way { stage, closed, ready: self.day(1 + stage as usize, then), cost, unknown }
    }
}

async fn page(app: &App, signed: &Signed, label: &str, form: Form) -> Result<Rework, Fault> {
    let known = Known::load(app, signed, label).await?;
    let state = known.piece.state();
    let ways = Stage::ALL
        .into_iter()
        .filter(|stage| *stage <= state.stage)
        .map(|stage| known.way(stage, model::back_to(state, stage).err()))
        .collect();
    let (spent, _) = total(&known.costs, Stage::Print, state.stage);
    let first = 1 + Stage::ALL.len();
    let spare = |(n, piece): (usize, &PieceRow)| Spare {
        ready: known.day(first + n, piece.state()),
        theirs: known.ready(),
        piece: piece.clone(),
    };
    let spares = known.spares.iter().enumerate().map(spare).collect();
    Ok(Rework {
        frame: signed.frame.clone(),
        ready: known.ready(),
        promised: known.days.is_some(),
        ways,
        causes: pieces::causes(&app.pool, state.stage).await?,
        spent,
        spares,
        before: view::last_rework(&app.pool, known.piece.id).await?,
        form,
        piece: known.piece,
        typical: known.typical,
        costs: known.costs,
    })
}

pub(crate) async fn show(
    Shared(app): Shared<App>,
    signed: Signed,
    Path(label): Path<String>,
) -> Result<Rework, Fault> {
    page(&app, &signed, &label, Form::default()).await
}

/// What is said about a way, kept with the piece.
fn told(signed: &Signed, ready: Option<Day>, way: &Way) -> Value {
    let day = |day: Option<Day>| day.map(|day| signed.frame.show.day(day));
    json!({
        "ready_before": day(ready),
        "ready_after": day(way.ready),
        "cost": format!("{:.2}", way.cost),
    })
}

pub(crate) async fn back(
    Shared(app): Shared<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let to: Stage = form.value("to").parse().map_err(|()| Fault::NotFound)?;
    let note = form.line("note", 500);
    let known = Known::load(&app, &signed, &label).await?;
    let said = told(&signed, known.ready(), &known.way(to, None));
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::send_back(conn, &signed, &label, seen, to, &note, said).await?;
            Ok(format!("/pieces/{label}/rework"))
        })
        .await?;
    ended.or_show(page(&app, &signed, &label, form)).await
}

pub(crate) async fn swap(
    Shared(app): Shared<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let with = form.value("with").to_owned();
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::swap(conn, &signed, &label, seen, &with).await?;
            Ok(format!("/pieces/{label}/rework"))
        })
        .await?;
    ended.or_show(page(&app, &signed, &label, form)).await
}
