//! The plan: lanes, loads, flasks that wait, and everything that can be changed by hand.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::clock::Moment;
use crate::json::plan::{PlacedJson, PlanJson};
use crate::kiln_loads::{self, LoadState, Standing};
use crate::people::Signed;
use crate::plan::grid::Grid;
use crate::plan::lanes::{Firing, LANE_HEIGHT, Lanes};
use crate::plan::view::{self, FlaskRow, KilnRow, News, OutageRow, PinRow, PlanRow};
use crate::studio::{Settings, Week};
use crate::web::{App, Fault, Form, Frame};

/// A load in the list below the lanes.
pub(crate) struct ListedLoad {
    pub(super) name: String,
    pub(super) link: Option<String>,
    pub(super) kiln: String,
    pub(super) state: &'static str,
    pub(super) starts: Moment,
    pub(super) held: Moment,
    /// Number, alloy, pour, floor place.
    pub(super) flasks: Vec<ListedFlask>,
    /// What a pin to this load carries.
    pub(super) place: String,
    pub(super) can_take: bool,
    pub(super) floor: (i32, i32),
}

/// A flask in a listed load.
pub(crate) struct ListedFlask {
    pub(super) number: String,
    pub(super) alloy: String,
    pub(super) pour: Moment,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) radius_mm: f64,
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
    waiting: Vec<FlaskRow>,
    pins: Vec<PinRow>,
    outages: Vec<OutageRow>,
    kilns: Vec<KilnRow>,
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

    fn tardiness_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let late = result.objective.weighted_tardiness;
        let bound = result.bound.weighted_tardiness;
        if late == 0 {
            return "Every order is ready by its due date.".to_owned();
        }
        let days = |minutes: i64| {
            if minutes >= 2880 {
                format!("{} piece-days", minutes / 1440)
            } else {
                format!("{} piece-hours", minutes / 60)
            }
        };
        if bound >= late {
            return format!("Late by {} in all; no plan can do better.", days(late));
        }
        format!("Late by {} in all; at least {} cannot be avoided.", days(late), days(bound))
    }

    fn quality_words(&self) -> String {
        let Some(result) = &self.result else { return String::new() };
        let loads = result.objective.loads;
        let plural = if loads == 1 { "load" } else { "loads" };
        if result.proved_optimal {
            format!(
                "{loads} kiln {plural}: proved to be the best plan there is, in {:.1} s.",
                result.seconds
            )
        } else {
            format!(
                "{loads} kiln {plural}, {} needed at least; the best found in {:.1} s.",
                result.bound.loads, result.seconds
            )
        }
    }

    fn pin_choices(&self) -> Vec<(String, String)> {
        self.loads
            .iter()
            .filter(|load| load.can_take)
            .map(|load| {
                (
                    load.place.clone(),
                    format!(
                        "{}: {}, {}",
                        load.name,
                        load.kiln,
                        self.frame.show.moment(load.starts)
                    ),
                )
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
) -> Result<ShowPlan, Fault> {
    let pool = &app.pool;
    let now = signed.now;
    let settings = Settings::load(pool).await?;
    let zone = settings.zone();
    let today = now.day_in(&zone);
    let kilns = view::kilns(pool).await?;
    let flasks = view::flasks(pool).await?;
    let open = view::open_plan(pool)
        .await?
        .filter(|plan| plan.state != "computing" || now.seconds_since(plan.made_at) < 120);
    let result: Option<PlanJson> = open
        .as_ref()
        .filter(|plan| plan.state == "proposed")
        .and_then(|plan| plan.result.clone())
        .and_then(|result| serde_json::from_value(result).ok());

    let grid = match (&result, &open) {
        (Some(_), Some(plan)) => Grid::on(plan.day_zero, zone.clone()),
        _ => Grid::from(now, zone.clone()),
    };
    let programmes = view::programmes(pool).await?;
    let (mut firings, mut loads) = (Vec::new(), Vec::new());
    let proposed = result.is_some();
    for load in kiln_loads::list_between(pool, now.plus_minutes(-24 * 60)).await? {
        // A proposal is shown in place of what is planned and has not begun.
        if proposed && load.state == LoadState::Planned {
            continue;
        }
        let standing = kiln_loads::standing_in(pool, load.id).await?;
        if standing.is_empty() {
            continue;
        }
        let name = format!("Load {}", load.number);
        let link = Some(format!("/loads/{}", load.number));
        firings.push(Firing {
            kiln: load.kiln.clone(),
            name: name.clone(),
            link: link.clone(),
            starts: load.starts(),
            load_min: if load.started_at.is_some() { 0 } else { i64::from(settings.load_min) },
            segments: load.programme.0.clone(),
            largest: largest(&standing),
            flasks: standing.iter().map(|flask| flask.number.to_string()).collect(),
            pours: standing
                .iter()
                .map(|flask| flask.poured_at.unwrap_or(flask.planned_pour_at))
                .collect(),
            pour_min: i64::from(settings.pour_min),
            proposed: false,
        });
        loads.push(ListedLoad {
            name,
            link,
            state: load.state.words(),
            starts: load.starts(),
            held: load.held_at.unwrap_or(load.planned_held_at),
            flasks: standing
                .iter()
                .map(|flask| ListedFlask {
                    number: flask.number.to_string(),
                    alloy: flask.alloy.clone(),
                    pour: flask.poured_at.unwrap_or(flask.planned_pour_at),
                    x_mm: flask.x_mm,
                    y_mm: f64::from(load.depth_mm) - flask.y_mm,
                    radius_mm: f64::from(flask.diameter_mm) / 2.0,
                })
                .collect(),
            place: format!("{}|{}", load.kiln_id, load.planned_start_at),
            can_take: load.state == LoadState::Planned,
            floor: (load.width_mm, load.depth_mm),
            kiln: load.kiln,
        });
    }
    if let Some(plan) = &result {
        let (mut new_firings, mut new_loads) =
            proposal(plan, &grid, &flasks, &kilns, &programmes, &settings);
        firings.append(&mut new_firings);
        loads.append(&mut new_loads);
    }
    let week = Week::load(pool, grid.day_zero).await?;
    let names: Vec<String> = kilns.iter().map(|kiln| kiln.name.clone()).collect();
    let lanes = Lanes::draw(&names, &firings, &week, &grid, &signed.frame.show);
    let form = form.unwrap_or_else(|| Form::filled([("until", today.to_string())]));
    let waiting = flasks.into_iter().filter(|flask| flask.waiting).collect();
    Ok(ShowPlan {
        frame: signed.frame.clone(),
        form,
        lanes,
        lane_height: LANE_HEIGHT,
        loads,
        open,
        result,
        waiting,
        pins: view::pins(pool).await?,
        outages: view::outages(pool, now).await?,
        kilns,
        news: view::news(pool).await?,
    })
}

fn largest(standing: &[Standing]) -> Option<(f64, f64, f64)> {
    standing.iter().max_by_key(|flask| (flask.diameter_mm, flask.height_mm)).map(|flask| {
        (
            f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
            f64::from(flask.height_mm),
            flask.water_per_100,
        )
    })
}

type Programmes = std::collections::HashMap<(String, String), Vec<crate::kilns::SegmentRow>>;

/// The loads of a proposal that are not under way already.
fn proposal(
    plan: &PlanJson,
    grid: &Grid,
    flasks: &[FlaskRow],
    kilns: &[KilnRow],
    programmes: &Programmes,
    settings: &Settings,
) -> (Vec<Firing>, Vec<ListedLoad>) {
    let (mut firings, mut loads) = (Vec::new(), Vec::new());
    for load in &plan.loads {
        let members: Vec<(&FlaskRow, &PlacedJson)> = load
            .flasks
            .iter()
            .filter_map(|placed| {
                let row = flasks.iter().find(|flask| flask.number.to_string() == placed.id)?;
                Some((row, placed))
            })
            .collect();
        // Loads under way are in the plan too; they are drawn as they are.
        let under_way = members.iter().any(|(row, _)| !row.waiting);
        let Some(kiln) = kilns.iter().find(|kiln| kiln.name == load.kiln).filter(|_| !under_way)
        else {
            continue;
        };
        let segments = members
            .iter()
            .filter_map(|(row, _)| {
                programmes.get_key_value(&(row.family.clone(), row.size_class.clone()))
            })
            .max_by_key(|(key, segments)| (crate::kilns::total_minutes(segments), (*key).clone()))
            .map(|(_, segments)| segments.clone())
            .unwrap_or_default();
        let pour_of = |id: &str| {
            plan.pours.iter().find(|pour| pour.flask == id).map(|pour| grid.moment(pour.start_min))
        };
        let starts = grid.moment(load.start_min);
        let total = crate::kilns::total_minutes(&segments);
        let name = format!("New load {}", loads.len() + 1);
        firings.push(Firing {
            kiln: kiln.name.clone(),
            name: name.clone(),
            link: None,
            starts,
            load_min: i64::from(settings.load_min),
            largest: members.iter().max_by_key(|(row, _)| (row.diameter_mm, row.height_mm)).map(
                |(row, _)| {
                    (
                        f64::from(row.diameter_mm) - 2.0 * row.wall_mm,
                        f64::from(row.height_mm),
                        row.water_per_100,
                    )
                },
            ),
            segments,
            flasks: load.flasks.iter().map(|flask| flask.id.clone()).collect(),
            pours: load.flasks.iter().filter_map(|flask| pour_of(&flask.id)).collect(),
            pour_min: i64::from(settings.pour_min),
            proposed: true,
        });
        let mut listed: Vec<ListedFlask> = members
            .iter()
            .filter_map(|(row, placed)| {
                Some(ListedFlask {
                    number: placed.id.clone(),
                    alloy: row.alloy.clone(),
                    pour: pour_of(&placed.id)?,
                    x_mm: placed.x_mm,
                    y_mm: f64::from(kiln.depth_mm) - placed.y_mm,
                    radius_mm: f64::from(row.diameter_mm) / 2.0,
                })
            })
            .collect();
        listed.sort_by_key(|flask| flask.pour);
        loads.push(ListedLoad {
            name,
            link: None,
            kiln: kiln.name.clone(),
            state: "proposed",
            starts,
            held: grid.moment(load.start_min + i64::from(settings.load_min) + total),
            flasks: listed,
            place: format!("{}|{}", kiln.id, starts),
            can_take: true,
            floor: (kiln.width_mm, kiln.depth_mm),
        });
    }
    (firings, loads)
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowPlan, Fault> {
    page(&app, &signed, None).await
}
