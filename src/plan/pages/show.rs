//! The plan: lanes, loads, flasks that wait, and everything that can be changed by hand.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use jiff::ToSpan as _;
use serde::Deserialize;

use crate::clock::Day;
use crate::json::plan::{PlanJson, read_problem};
use crate::people::Signed;
use crate::plan::difference::{Difference, span};
use crate::plan::feed::{self, FeedRow};
use crate::plan::grid::Grid;
use crate::plan::lanes::{LANE_HEIGHT, Lanes, Window};
use crate::plan::listed::{self, ListedFlask, ListedLoad};
use crate::plan::store::INTERRUPTED_AFTER_S;
use crate::plan::view::{self, FlaskRow, KilnRow, News, OutageRow, PinRow, PlanRow};
use crate::plan::{current, instance};
use crate::studio::{Settings, Week};
use crate::web::{App, Fault, Form, Frame};

/// Which week is wanted.
#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    week: String,
}

#[derive(Template, WebTemplate)]
#[template(path = "plan/show.html")]
pub(crate) struct ShowPlan {
    frame: Frame,
    form: Form,
    lanes: Lanes,
    lane_height: f64,
    loads: Vec<ListedLoad>,
    open: Option<PlanRow>,
    result: Option<PlanJson>,
    difference: Option<Difference>,
    /// A change that was taken back and can be made again.
    redo: Option<String>,
    waiting: Vec<FlaskRow>,
    pins: Vec<PinRow>,
    outages: Vec<OutageRow>,
    kilns: Vec<KilnRow>,
    /// The Monday of the week shown, or none for the days from now.
    week: Option<Day>,
    monday: Day,
    later: usize,
    feed: Option<(FeedRow, String)>,
    /// What happened to pieces since the plan was accepted.
    news: Vec<News>,
}

impl ShowPlan {
    fn is(&self, state: &str) -> bool {
        self.open.as_ref().is_some_and(|plan| plan.state == state)
    }

    fn lane_y(&self, n: &usize) -> f64 {
        *n as f64 * self.lane_height
    }

    fn week_before(&self) -> Day {
        self.monday.plus_days(-7)
    }

    fn week_after(&self) -> Day {
        self.monday.plus_days(7)
    }

    /// Pours of all loads shown, in order, with the load.
    fn pours(&self) -> Vec<(&ListedLoad, &ListedFlask)> {
        let mut pours: Vec<_> = self
            .loads
            .iter()
            .flat_map(|load| load.flasks.iter().map(move |flask| (load, flask)))
            .collect();
        pours.sort_by_key(|(_, flask)| flask.pour);
        pours
    }

    /// Firings through a change of clocks.
    fn clock_changes(&self) -> Vec<String> {
        let zone = &self.frame.show.zone;
        self.loads
            .iter()
            .filter_map(|load| {
                let last = load.flasks.iter().map(|flask| flask.pour).max()?;
                let (before, after) = (zone.to_offset(load.starts.0), zone.to_offset(last.0));
                let way = match before.cmp(&after) {
                    std::cmp::Ordering::Equal => return None,
                    std::cmp::Ordering::Less => "an hour shorter",
                    std::cmp::Ordering::Greater => "an hour longer",
                };
                Some(format!(
                    "Clocks change while {} burns out: from loading to its pours it is {way} than the clock on the wall says. Look at the times before you load it.",
                    load.name
                ))
            })
            .collect()
    }

    fn late(&self, flask: &ListedFlask) -> bool {
        flask.due.is_some_and(|due| flask.pour.day_in(&self.frame.show.zone) > due)
    }

    fn tardiness_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let late = result.objective.weighted_tardiness;
        let bound = result.bound.weighted_tardiness;
        if late == 0 {
            return "Every order is ready by its due date.".to_owned();
        }
        let words = format!("Pieces are late by {} added together", span(late));
        if bound >= late {
            return format!("{words}; no plan can do better.");
        }
        let share = ((late - bound) as f64 / late as f64 * 100.0).ceil();
        format!(
            "{words}; {} cannot be avoided, so the best possible plan is at most {share:.0} % less late.",
            if bound == 0 { "none of it is known to be what".to_owned() } else { span(bound) }
        )
    }

    fn quality_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let loads = result.objective.loads;
        let plural = if loads == 1 { "load" } else { "loads" };
        if result.proved_optimal {
            return format!(
                "{loads} kiln {plural}: proved to be the best plan there is, in {:.1} s.",
                result.seconds
            );
        }
        let least = result.bound.loads;
        if least >= loads {
            format!(
                "{loads} kiln {plural}, and fewer are not possible; found in {:.1} s.",
                result.seconds
            )
        } else {
            format!(
                "{loads} kiln {plural}, {least} needed at least; the best found in {:.1} s.",
                result.seconds
            )
        }
    }

    fn pin_choices(&self) -> Vec<(String, String)> {
        self.loads
            .iter()
            .filter(|load| load.can_take)
            .map(|load| {
                let starts = self.frame.show.moment(load.starts);
                (load.place.clone(), format!("{}: {}, {starts}", load.name, load.kiln))
            })
            .collect()
    }

    fn flask_choices(&self) -> Vec<(i32, String)> {
        self.waiting
            .iter()
            .map(|flask| (flask.number, format!("{} {}", flask.number, flask.alloy)))
            .collect()
    }

    fn kiln_choices(&self) -> Vec<(String, String)> {
        self.kilns.iter().map(|kiln| (kiln.id.to_string(), kiln.name.clone())).collect()
    }
}

/// The page, with a form that was not right shown again.
pub(crate) async fn page(
    app: &App,
    signed: &Signed,
    form: Option<Form>,
    wanted: &Wanted,
) -> Result<ShowPlan, Fault> {
    let pool = &app.pool;
    let now = signed.now;
    let settings = Settings::load(pool).await?;
    let zone = settings.zone();
    let today = now.day_in(&zone);
    let kilns = view::kilns(pool).await?;
    let flasks = view::flasks(pool).await?;
    let open = view::open_plan(pool).await?.filter(|plan| {
        plan.state != "computing" || now.seconds_since(plan.made_at) < INTERRUPTED_AFTER_S
    });
    let result: Option<PlanJson> = open
        .as_ref()
        .filter(|plan| matches!(plan.state.as_str(), "proposed" | "computing"))
        .and_then(|plan| plan.result.clone())
        .and_then(|result| serde_json::from_value(result).ok());
    let grid = match (&result, &open) {
        (Some(_), Some(plan)) => Grid::on(plan.day_zero, zone.clone()),
        _ => Grid::from(now, zone.clone()),
    };
    let week = wanted.week.parse().ok().map(Day).map(monday_of);
    let window = match week {
        Some(monday) => Window::week(monday, &grid),
        None => {
            let first = view::first_under_way(pool).await?.map_or(now, |at| at.min(now));
            // A load that burns since long does not push today off the page.
            Window::since(grid.minute(first.max(now.plus_minutes(-36 * 60))))
        }
    };
    let (mut firings, mut loads) =
        listed::agreed(pool, window, &grid, &settings, &flasks, result.is_some()).await?;
    if let Some(plan) = &result {
        let programmes = view::programmes(pool).await?;
        let (mut new_firings, mut new_loads) =
            listed::proposal(plan, &grid, &flasks, &kilns, &programmes, &settings, window);
        firings.append(&mut new_firings);
        loads.append(&mut new_loads);
    }
    let later = match &result {
        Some(plan) => plan.loads.iter().filter(|load| load.start_min >= window.to_min).count(),
        None => view::planned_from(pool, grid.moment(window.to_min)).await?,
    };
    let difference = match (&result, &open) {
        (Some(plan), Some(_)) => Some(from_standing(pool, signed, plan, &grid).await?),
        _ => None,
    };
    let hours = Week::load(pool, grid.day_zero).await?;
    let names: Vec<String> = kilns.iter().map(|kiln| kiln.name.clone()).collect();
    let due = due_days(&flasks);
    let lanes = Lanes::draw(&names, &firings, &hours, &grid, &signed.frame.show, window, &due);
    let feed = feed::feed_of(pool, signed.person).await?;
    let feed = feed.and_then(|row| {
        let path = feed::path_of(&app.link_secret, row.id)?;
        Some((row, path))
    });
    Ok(ShowPlan {
        frame: signed.frame.clone(),
        form: form.unwrap_or_else(|| Form::filled([("until", today.to_string())])),
        lanes,
        lane_height: LANE_HEIGHT,
        loads,
        redo: view::redo(pool, open.as_ref()).await?,
        open,
        result,
        difference,
        waiting: flasks.into_iter().filter(|flask| flask.waiting).collect(),
        pins: view::pins(pool).await?,
        outages: view::outages(pool, now).await?,
        kilns,
        week,
        monday: week.unwrap_or_else(|| monday_of(today)),
        later,
        feed,
        news: view::news(pool).await?,
    })
}

fn monday_of(day: Day) -> Day {
    let back = i64::from(day.0.weekday().to_monday_zero_offset());
    Day(day.0.saturating_sub(back.days()))
}

/// How many flasks that wait are due on which day.
fn due_days(flasks: &[FlaskRow]) -> Vec<(Day, usize)> {
    let mut days: Vec<Day> = flasks.iter().filter_map(|flask| flask.due_on).collect();
    days.sort_unstable();
    let mut counted: Vec<(Day, usize)> = Vec::new();
    for day in days {
        match counted.last_mut() {
            Some((last, count)) if *last == day => *count += 1,
            _ => counted.push((day, 1)),
        }
    }
    counted
}

/// What a proposal changes against the loads as they stand.
async fn from_standing(
    pool: &sqlx::PgPool,
    signed: &Signed,
    plan: &PlanJson,
    grid: &Grid,
) -> Result<Difference, Fault> {
    let read = instance::read(pool, signed.now).await?;
    let Ok(problem) = read_problem(&read.json.to_string()) else {
        return Ok(Difference::default());
    };
    let standing = current::current(pool, &problem.problem, &read.grid).await?;
    let proposed = foundry::plan::Plan::from(plan.clone());
    Ok(Difference::between((&standing, &read.grid), (&proposed, grid)))
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ShowPlan, Fault> {
    page(&app, &signed, None, &wanted).await
}
