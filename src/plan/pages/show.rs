//! The plan: lanes, loads, flasks that wait, and everything that can be changed by hand.

use std::collections::HashSet;
use std::sync::Arc;

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use foundry::heat::cost;
use jiff::ToSpan as _;
use serde::Deserialize;

use super::part::Part;
use crate::clock::{Day, Moment};
use crate::json::plan::PlanJson;
use crate::kilns::{HeatLine, heat_lines};
use crate::people::Signed;
use crate::plan::begun::BegunLoads;
use crate::plan::current;
use crate::plan::difference::Difference;
use crate::plan::feed;
use crate::plan::grid::Grid;
use crate::plan::known::KnownKilns;
use crate::plan::lanes::{Firing, LANE_HEIGHT, Lanes, Scene, Window};
use crate::plan::listed::{self, Energy, ListedLoad, SlowEnd};
use crate::plan::prices::Priced;
use crate::plan::store::{self, FeedRow, INTERRUPTED_AFTER_S};
use crate::plan::view::{self, FlaskBrief, FlaskRow, KilnRow, News, OutageRow, PinRow, PlanRow};
use crate::studio::{Presence, Settings, Week};
use crate::tariffs::{in_force, week_minute};
use crate::web::{App, Fault, Form, Frame, Html, PageLinks, Show, working_of};

/// Which week is wanted.
#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    week: String,
    /// A flask that is to be moved: its form is filled in with it.
    #[serde(default)]
    flask: String,
    #[serde(default)]
    loads: String,
    #[serde(default)]
    pours: String,
    #[serde(default)]
    waiting: String,
    #[serde(default)]
    changed: String,
    /// Whether long lists are wanted whole, as for printing.
    #[serde(default)]
    whole: String,
}

impl Wanted {
    /// The address of the same page with its lists whole.
    fn whole(&self) -> String {
        PageLinks::base("/plan", &[("week", &self.week), ("whole", "yes")])
    }

    /// The part of a list that is wanted, with the way to its other parts.
    fn part(&self, list: &'static str, of: usize, size: usize) -> Part {
        let fields = [
            ("week", self.week.as_str()),
            ("loads", &self.loads),
            ("pours", &self.pours),
            ("waiting", &self.waiting),
            ("changed", &self.changed),
        ];
        if !self.whole.is_empty() {
            return Part::new(list, "", of, of.max(1), "/plan");
        }
        let page = fields.iter().find(|(name, _)| *name == list).map_or("", |(_, page)| page);
        let others: Vec<(&str, &str)> =
            fields.iter().filter(|(name, _)| *name != list).copied().collect();
        Part::new(list, page, of, size, &PageLinks::base("/plan", &others))
    }
}

/// So many of each list are on a page.
const LOADS: usize = 12;
const POURS: usize = 40;
const WAITING: usize = 40;
const CHANGED: usize = 30;
/// More flasks than so many are typed, not chosen from a list.
pub(super) const MOST_CHOICES: usize = 80;

#[derive(Template, WebTemplate)]
#[template(path = "plan/show.html")]
pub(crate) struct ShowPlan {
    pub(super) frame: Frame,
    pub(super) form: Form,
    pub(super) lanes: Lanes,
    pub(super) lane_height: f64,
    pub(super) loads: Vec<ListedLoad>,
    pub(super) open: Option<PlanRow>,
    /// What is shown of it; nothing of one that is out of date.
    pub(super) result: Option<PlanJson>,
    /// Why the proposal cannot be accepted any more.
    pub(super) outdated: Option<String>,
    pub(super) difference: Option<Difference>,
    /// A change that was taken back and can be made again.
    pub(super) redo: Option<String>,
    pub(super) waiting: Vec<FlaskBrief>,
    /// Those of them that are shown.
    pub(super) shown_waiting: Vec<FlaskRow>,
    /// How many of them stand in no load of what is shown; they come first.
    pub(super) unplanned: usize,
    pub(super) pins: Vec<PinRow>,
    pub(super) outages: Vec<OutageRow>,
    pub(super) kilns: Vec<KilnRow>,
    /// The Monday of the week shown, or none for the days from now.
    pub(super) week: Option<Day>,
    pub(super) monday: Day,
    pub(super) later: usize,
    pub(super) feed: Option<(FeedRow, String)>,
    /// What happened to pieces since the plan was accepted.
    pub(super) news: Vec<News>,
    /// The address of the page with its lists whole.
    pub(super) whole: String,
    /// The parts of long lists that are shown.
    pub(super) parts: Parts,
    pub(super) people: Vec<Presence>,
    /// Electricity by the hour, in words.
    pub(super) prices: Option<String>,
    /// What it saved to look at prices, in sentences.
    pub(super) saved: Vec<String>,
    /// By how many minutes a piece may be late for an hour of heating in dear hours.
    pub(super) dear_hour_min: i32,
}

pub(super) struct Parts {
    pub(super) loads: Part,
    pub(super) pours: Part,
    pub(super) waiting: Part,
    pub(super) changed: Part,
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
    let briefs = view::flask_briefs(pool).await?;
    let open = view::open_plan(pool).await?.filter(|plan| {
        plan.state != "computing" || now.seconds_since(plan.made_at) < INTERRUPTED_AFTER_S
    });
    let result: Option<PlanJson> = open
        .as_ref()
        .filter(|plan| matches!(plan.state.as_str(), "proposed" | "computing"))
        .and_then(|plan| plan.result.clone())
        .and_then(|result| serde_json::from_value(result).ok());
    let begun = match &open {
        Some(plan) => Some(BegunLoads::since(&mut *pool.acquire().await?, plan.made_at).await?),
        None => None,
    };
    let outdated = match (&open, &begun, &result) {
        (Some(row), Some(begun), Some(plan)) if row.state == "proposed" => {
            begun.outdates(plan, &Grid::on(row.day_zero, zone.clone()), row.made_at)
        }
        _ => None,
    };
    let result = result.filter(|_| outdated.is_none());
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
    let known = KnownKilns::read(pool).await?;
    let (mut firings, mut loads) =
        listed::agreed(pool, window, &grid, &settings, &briefs, &known, result.as_ref()).await?;
    // Those that wait: who stands in no load first, then by the day on which they are due.
    let planned = planned_in(result.as_ref());
    let in_none = |flask: &FlaskBrief| match &planned {
        Some(planned) => !planned.contains(flask.number.to_string().as_str()),
        None => !flask.in_load,
    };
    let due = due_days(&briefs);
    let mut waiting: Vec<FlaskBrief> =
        briefs.iter().filter(|flask| flask.waiting).cloned().collect();
    let unplanned = waiting.iter().filter(|flask| in_none(flask)).count();
    waiting.sort_by_cached_key(|flask| {
        (!in_none(flask), flask.due_on.is_none(), flask.due_on, flask.number)
    });
    // All is read only of flasks that are shown.
    let numbered =
        result.as_ref().map_or_else(Vec::new, |plan| listed::in_window(plan, &briefs, window));
    let waiting_part = wanted.part("waiting", waiting.len(), WAITING);
    let mut numbers: Vec<i32> =
        waiting_part.of(&waiting).iter().map(|flask| flask.number).collect();
    numbers.extend(
        numbered
            .iter()
            .flat_map(|(_, load)| &load.flasks)
            .filter_map(|one| one.id.parse::<i32>().ok()),
    );
    let flasks = view::flasks(pool, Some(&numbers)).await?;
    if let Some(plan) = &result {
        let (mut new_firings, mut new_loads) =
            listed::proposal(plan, &numbered, &grid, &flasks, &kilns, &settings, &known);
        firings.append(&mut new_firings);
        loads.append(&mut new_loads);
    }
    let later = match &result {
        Some(plan) => plan.loads.iter().filter(|load| load.start_min >= window.to_min).count(),
        None => view::planned_from(pool, grid.moment(window.to_min)).await?,
    };
    let difference = match (&result, &open, &begun) {
        (Some(plan), Some(row), Some(begun)) => {
            let standing = current::beside(pool, row.number, &grid).await?;
            let proposed = foundry::plan::Plan::from(begun.as_started(plan, &grid));
            Some(Difference::between((&standing, &grid), (&proposed, &grid)))
        }
        _ => None,
    };
    let hours = Week::load(pool, grid.day_zero).await?;
    let names: Vec<String> = kilns.iter().map(|kiln| kiln.name.clone()).collect();
    let show = &signed.frame.show;
    let priced = in_force(pool, today).await?.map(|in_force| Priced::new(in_force, show));
    let lines = lines_of(&firings).await?;
    let shown = wanted.part("loads", loads.len(), LOADS);
    for ((load, firing), line) in
        shown.of_mut(&mut loads).iter_mut().zip(shown.of(&firings)).zip(shown.of(&lines))
    {
        load.slow = firing.slow(line).map(|slow| {
            let held = show.moment(load.held.plus_minutes(slow.minutes));
            let held = working_of(&Html::escaped(&held), &slow.working());
            SlowEnd { held, words: slow.words(show) }
        });
        let lit = firing.starts.plus_minutes(firing.load_min);
        // What it costs is the owner's to see.
        let priced = priced.as_ref().filter(|_| signed.frame.owner());
        load.energy = energy(line, lit, priced, show);
    }
    let lanes = Lanes::draw(&Scene {
        kilns: &names,
        firings: &firings,
        lines: &lines,
        week: &hours,
        grid: &grid,
        show,
        window,
        due: &due,
        priced: priced.as_ref(),
    });
    let feed = store::feed_of(pool, signed.person).await?;
    let feed = feed.and_then(|row| {
        let path = feed::path_of(&app.link_secret, row.id)?;
        Some((row, path))
    });
    let shown_waiting = waiting_part
        .of(&waiting)
        .iter()
        .filter_map(|brief| flasks.iter().find(|flask| flask.number == brief.number).cloned())
        .collect();
    let pours = loads.iter().map(|load| load.flasks.len()).sum();
    let changes = difference.as_ref().map_or(0, |one: &Difference| one.changed.len());
    let parts = Parts {
        loads: shown,
        pours: wanted.part("pours", pours, POURS),
        waiting: waiting_part,
        changed: wanted.part("changed", changes, CHANGED),
    };
    let saved = match (&result, &open) {
        (Some(_), Some(plan)) => plan.power.as_ref().map(|power| power.0.clone()),
        _ => view::power_agreed(pool).await?,
    };
    let filled = || Form::filled([("until", today.to_string()), ("flask", wanted.flask.clone())]);
    Ok(ShowPlan {
        frame: signed.frame.clone(),
        form: form.unwrap_or_else(filled),
        parts,
        people: Presence::list(pool, today).await?,
        prices: priced.filter(|_| signed.frame.owner()).and_then(|priced| priced.words()),
        saved: saved
            .filter(|_| signed.frame.owner())
            .map_or_else(Vec::new, |saved| saved.words(show, signed.frame.owner())),
        dear_hour_min: settings.dear_hour_min,
        lanes,
        lane_height: LANE_HEIGHT,
        loads,
        redo: view::redo(pool, open.as_ref()).await?,
        open,
        result,
        outdated,
        difference,
        waiting,
        shown_waiting,
        unplanned,
        whole: wanted.whole(),
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

/// The flasks that a proposal puts into loads; none without a proposal.
fn planned_in(plan: Option<&PlanJson>) -> Option<HashSet<&str>> {
    plan.map(|plan| plan.pours.iter().map(|pour| pour.flask.as_str()).collect())
}

/// The heat lines of firings, computed beside the serving threads where they are not known.
async fn lines_of(firings: &[Firing]) -> Result<Vec<Arc<HeatLine>>, Fault> {
    let asked: Vec<_> =
        firings.iter().map(|one| (one.segments.clone(), one.inside.clone())).collect();
    tokio::task::spawn_blocking(move || heat_lines(&asked))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))
}

/// What a firing draws, and what that costs if it is lit at a moment.
fn energy(line: &HeatLine, lit: Moment, priced: Option<&Priced>, show: &Show) -> Option<Energy> {
    let burnout = line.burnout.as_ref()?;
    let kwh = burnout.kiln_kwh?;
    let cost = priced.and_then(|priced| {
        let cost = cost(burnout, &priced.in_force.tariff, week_minute(lit, &show.zone)).ok()?;
        let figure = show.money_in(cost.value.amount(), cost.value.currency().code());
        Some(working_of(&figure, &cost.working))
    });
    Some(Energy { kwh, cost })
}

pub(super) fn monday_of(day: Day) -> Day {
    let back = i64::from(day.0.weekday().to_monday_zero_offset());
    Day(day.0.saturating_sub(back.days()))
}

/// How many flasks that wait are due on which day.
fn due_days(flasks: &[FlaskBrief]) -> Vec<(Day, usize)> {
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

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ShowPlan, Fault> {
    page(&app, &signed, None, &wanted).await
}
