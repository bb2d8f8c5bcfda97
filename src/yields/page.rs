//! The page of yields, and its table for spreadsheets.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use foundry::working::Working;
use foundry::yields::{self, Confidence, ControlLimits, Lot, Tally};
use serde::Deserialize;

use super::by::By;
use super::csv::field;
use super::store;
use super::view::{self, Which};
use crate::clock::Day;
use crate::people::Signed;
use crate::pieces::Stage;
use crate::web::{
    App, Charted, Fault, Form, Frame, Html, PageLinks, Refused, Show, control_chart, working_of,
};

/// Of fewer pieces no yield is told: the interval would span half of everything.
const SMALLEST: u64 = 10;

/// So many groups are shown at first; the others are unfolded.
const SHOWN: usize = 12;

/// So many causes are drawn; rarer ones count in the shares and are told in number.
const DRAWN: usize = 15;

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    stage: String,
    #[serde(default)]
    by: String,
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
}

/// A group with its counts, and its yield when there are enough of them.
struct Row {
    name: String,
    good: u32,
    bad: u32,
    counted: Option<Counted>,
}

struct Counted {
    share: f64,
    low: f64,
    high: f64,
    working: Working,
}

impl Row {
    fn of(name: String, tally: Tally) -> Self {
        let worked = if tally.total() < SMALLEST {
            None
        } else {
            yields::wilson(tally, Confidence::NinetyFive).ok()
        };
        let counted = worked.map(|worked| Counted {
            share: worked.value.counted.percent(),
            low: worked.value.low.percent(),
            high: worked.value.high.percent(),
            working: worked.working,
        });
        Self { name, good: tally.good, bad: tally.bad, counted }
    }

    /// How many came out good, as it is written.
    fn good_of(&self, show: &Show) -> Html {
        show.count(i64::from(self.good))
    }

    /// How many failed.
    fn bad_of(&self, show: &Show) -> Html {
        show.count(i64::from(self.bad))
    }
}

impl Counted {
    /// The yield, which opens into its working.
    fn html(&self, show: &Show) -> Html {
        working_of(&show.number(self.share, 0, "%"), &self.working)
    }
}

/// A bar of the chart of causes.
struct Bar {
    name: String,
    count: u32,
    cumulative: f64,
    /// Of a hundred.
    wide: f64,
    vital: bool,
}

/// Why pieces failed.
#[derive(Default)]
struct Causes {
    bars: Vec<Bar>,
    /// Causes that are not drawn.
    rarer: usize,
    /// How many failed, which opens into its working; none when none did.
    working: Option<Html>,
}

/// A week of the trend.
struct Week {
    name: String,
    good: u32,
    bad: u32,
    share: f64,
    low: f64,
    high: f64,
    outside: bool,
}

/// How failed shares went, week by week; empty below the least number of weeks.
#[derive(Default)]
struct Trend {
    weeks: Vec<Week>,
    chart: Html,
    /// The failed share of all weeks, which opens into its working.
    mean: Option<Html>,
}

#[derive(Template, WebTemplate)]
#[template(path = "yields/show.html")]
pub(crate) struct Yields {
    frame: Frame,
    form: Form,
    by: By,
    export: String,
    stages: Vec<Row>,
    groups: Vec<Row>,
    causes: Causes,
    trend: Trend,
    /// Whether older days are still being counted.
    counting: bool,
}

impl Yields {
    /// The groups with the most pieces.
    fn first_groups(&self) -> Vec<&Row> {
        self.groups.iter().take(SHOWN).collect()
    }

    /// The groups after those.
    fn more_groups(&self) -> Vec<&Row> {
        self.groups.iter().skip(SHOWN).collect()
    }

    /// By what pieces can be told apart: what they have of themselves, then what was chosen at the
    /// steps of each stage.
    fn ways(&self) -> Vec<(String, Vec<(String, String)>)> {
        let mut ways: Vec<(String, Vec<(String, String)>)> = Vec::new();
        for by in By::all() {
            let heading = match by {
                By::Step(choice) => format!("Told at {}", choice.stage),
                _ => "Batch and piece".to_owned(),
            };
            match ways.last_mut() {
                Some((last, those)) if *last == heading => those.push((by.name(), by.words())),
                _ => ways.push((heading, vec![(by.name(), by.words())])),
            }
        }
        ways
    }
}

/// What was asked for, with the form that asks for it again.
fn read(wanted: &Wanted) -> (Form, Which, By) {
    let mut form = Form::filled([
        ("stage", wanted.stage.clone()),
        ("by", wanted.by.clone()),
        ("from", wanted.from.clone()),
        ("to", wanted.to.clone()),
    ]);
    let from = form.day_or_none("from");
    let before = form.day_or_none("to").map(|day| day.plus_days(1));
    if from.zip(before).is_some_and(|(from, before)| from >= before) {
        form.wrong("to", "This day comes before the first one. Turn the two round.");
    }
    let which = Which { stage: wanted.stage.parse().ok(), from, before };
    let by = By::all().find(|by| by.name() == wanted.by).unwrap_or(By::Lot);
    (form, which, by)
}

async fn rows(app: &App, which: &Which, by: By) -> Result<Vec<Row>, Fault> {
    let counts = view::by(&app.pool, which, by).await?;
    Ok(counts.into_iter().map(|count| Row::of(count.what.clone(), count.tally())).collect())
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Yields, Fault> {
    let frame = signed.frame;
    let (form, which, by) = read(&wanted);
    let counting = store::count_latest(&app.pool).await?;
    let stages = view::stages(&app.pool, &which).await?;
    let begins = |day: Option<Day>| day.map(|day| day.start_in(&frame.show.zone));
    let (from, before) = (begins(which.from), begins(which.before));
    let causes = view::causes(&app.pool, which.stage, from, before).await?;
    let causes = chart_of_causes(causes, &frame);
    let weeks = view::weeks(&app.pool, &which).await?;
    let told_apart = by.name();
    let fields = [
        ("stage", wanted.stage.as_str()),
        ("by", told_apart.as_str()),
        ("from", wanted.from.as_str()),
        ("to", wanted.to.as_str()),
    ];
    Ok(Yields {
        form,
        by,
        export: PageLinks::base("/yields/table.csv", &fields),
        stages: stages
            .iter()
            .map(|count| Row::of(count.what.title().to_owned(), count.tally()))
            .collect(),
        groups: rows(&app, &which, by).await?,
        causes,
        trend: trend(&weeks, &frame),
        counting,
        frame,
    })
}

fn chart_of_causes(causes: Vec<(String, i64)>, frame: &Frame) -> Causes {
    let causes: Vec<_> = causes
        .into_iter()
        .map(|(cause, n)| (cause.into(), u32::try_from(n).unwrap_or(u32::MAX)))
        .collect();
    let Ok(worked) = yields::pareto(&causes) else { return Causes::default() };
    let most = worked.value.first().map_or(1, |row| row.count).max(1);
    let all: u32 = worked.value.iter().fold(0, |sum, row| sum.saturating_add(row.count));
    let bars = worked
        .value
        .iter()
        .take(DRAWN)
        .map(|row| Bar {
            name: row.cause.to_string(),
            count: row.count,
            cumulative: row.cumulative.percent(),
            wide: f64::from(row.count) / f64::from(most) * 100.0,
            vital: row.among_the_vital_few,
        })
        .collect();
    Causes {
        bars,
        rarer: worked.value.len().saturating_sub(DRAWN),
        working: Some(working_of(&frame.show.number(f64::from(all), 0, "failed"), &worked.working)),
    }
}

/// The failed share of each week with its limits; nothing below the least number of weeks.
fn trend(weeks: &[view::Count<Day>], frame: &Frame) -> Trend {
    let lots: Vec<Lot> = weeks
        .iter()
        .map(view::Count::tally)
        .map(|tally| Lot { made: tally.good.saturating_add(tally.bad), bad: tally.bad })
        .collect();
    let Ok(worked) = yields::p_chart(&lots, ControlLimits::Laney) else {
        return Trend::default();
    };
    let points = &worked.value.points;
    let shares: Vec<Charted> = points
        .iter()
        .map(|point| Charted {
            share: point.share.percent(),
            low: point.lower.percent(),
            high: point.upper.percent(),
            outside: point.outside,
        })
        .collect();
    let mean = worked.value.mean.percent();
    let title = "Failed share by week with control limits; the table below has the figures";
    Trend {
        chart: control_chart("", title, mean, &shares),
        mean: Some(working_of(&frame.show.number(mean, 1, "%"), &worked.working)),
        weeks: weeks
            .iter()
            .zip(shares)
            .map(|(week, of)| Week {
                name: frame.show.day(week.what),
                good: week.tally().good,
                bad: week.tally().bad,
                share: of.share,
                low: of.low,
                high: of.high,
                outside: of.outside,
            })
            .collect(),
    }
}

pub(crate) async fn table(
    State(app): State<App>,
    _signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Fault> {
    if store::count_latest(&app.pool).await? {
        return Err(Refused::conflict(
            "Older days are still being counted, and the table would leave them out. Ask for it again in a minute.",
        )
        .into());
    }
    let (_, which, by) = read(&wanted);
    let mut text = format!(
        "{},{},good,failed,yield %,lower end %,upper end %\r\n",
        field("stage"),
        field(&by.words())
    );
    let stage = which.stage.map_or("the whole way", Stage::name);
    for row in rows(&app, &which, by).await? {
        let figures = row.counted.as_ref().map_or_else(
            || ",,".to_owned(),
            |c| format!("{:.1},{:.1},{:.1}", c.share, c.low, c.high),
        );
        text += &format!(
            "{},{},{},{},{figures}\r\n",
            field(stage),
            field(&row.name),
            row.good,
            row.bad
        );
    }
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"yields.csv\""),
    ];
    Ok((headers, text).into_response())
}
