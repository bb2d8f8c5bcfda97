//! Why a flask is poured when it is, and what would make it earlier.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use foundry::plan::{Binds, Load, Plan, Problem, explain};

use crate::clock::Moment;
use crate::people::Signed;
use crate::plan::by_hand::{base, moved_to};
use crate::plan::difference::span;
use crate::plan::instance;
use crate::plan::power::dear_min;
use crate::web::{App, Fault, Frame};

/// One thing in the way.
struct InTheWay {
    what: String,
    pour: Moment,
}

/// What is told of a flask in a plan.
struct Told {
    kiln: String,
    starts: Moment,
    burnt_out: Moment,
    pour: Moment,
    with: Vec<String>,
    in_the_way: Vec<InTheWay>,
    due: Option<Moment>,
}

#[derive(Template, WebTemplate)]
#[template(path = "plan/flask.html")]
pub(crate) struct WhyThen {
    frame: Frame,
    number: i32,
    proposal: Option<i32>,
    told: Option<Told>,
    /// Why nothing can be told.
    reason: String,
}

/// How much more a flask's firing would heat in dear hours if it began so many minutes earlier.
fn dearer_min(problem: &Problem, plan: &Plan, flask: &str, earlier_min: i64) -> i64 {
    let Some(load) =
        plan.loads.iter().find(|load| load.flasks.iter().any(|placed| placed.flask == flask))
    else {
        return 0;
    };
    let from = |start_min: i64| {
        let alone = Load { start_min, ..load.clone() };
        dear_min(problem, &Plan { loads: vec![alone], ..Plan::default() })
    };
    from(load.start_min - earlier_min) - from(load.start_min)
}

fn words(binds: &Binds, dearer_min: i64) -> String {
    match binds {
        Binds::Nothing if dearer_min > 0 => format!(
            "The price of electricity: fired earlier it would heat {} more in dear hours, and no due date gains by it. If prices did not count, it would be poured",
            span(dearer_min)
        ),
        Binds::Hours => {
            "Working hours. With somebody there by day and night it would be poured".to_owned()
        }
        Binds::Furnace => "The furnace. With no other pours on it, this one would be".to_owned(),
        Binds::Ramps => {
            "Other kilns that heat at the same time. If all might heat at once, it would be poured"
                .to_owned()
        }
        Binds::Kiln { kiln } => {
            format!("Other loads in {kiln}. Without them it would be poured")
        }
        Binds::Slow { kiln } => format!(
            "What {kiln} takes longer than the programme, as its own firings have shown. If it kept to the programme, it would be poured"
        ),
        Binds::OutOfUse { kiln } => {
            format!("{kiln} is out of use. If it were not, it would be poured")
        }
        Binds::Ready => "It is not ready. If it were now, it would be poured".to_owned(),
        Binds::OthersReady { flasks } => {
            format!("It waits for flasks {} of its load. If they were ready now, it would be poured", flasks.join(", "))
        }
        Binds::Company => {
            "The others in its load. In a load of its own, which costs one more, it would be poured"
                .to_owned()
        }
        Binds::OtherKiln { kiln } => {
            format!("Its kiln. In {kiln}, as the plan is, its load would be poured")
        }
        Binds::Nothing => {
            "Nothing: it could be poured earlier where it is, and no due date gains by it. Then it would be poured"
                .to_owned()
        }
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<WhyThen, Fault> {
    let read = instance::read(&app.pool, signed.now).await?;
    let zone = signed.frame.show.zone.clone();
    let mut page =
        WhyThen { frame: signed.frame, number, proposal: None, told: None, reason: String::new() };
    let problem = match read.problem() {
        Ok(problem) => problem,
        Err(Fault::Refused(refused)) => {
            page.reason = refused.message;
            return Ok(page);
        }
        Err(fault) => return Err(fault),
    };
    let id = number.to_string();
    if problem.flask(&id).is_none() {
        return Err(Fault::NotFound);
    }
    let base = base(&app.pool, &problem, &read, zone).await?;
    page.proposal = base.number;
    let shift = i64::from(read.grid.day_number(base.grid.day_zero)) * 1440;
    let plan = moved_to(&base.plan, shift);
    let grid = read.grid;
    let flask = id.clone();
    let told = tokio::task::spawn_blocking(move || {
        let told = explain(&problem, &plan, &flask);
        (problem, plan, told)
    });
    let (problem, plan, found) = told.await.map_err(|error| Fault::Unforeseen(error.into()))?;
    let Some(found) = found else {
        page.reason = match plan.unplanned.iter().find(|one| one.flask == id) {
            Some(_) => "it stands in no load of this plan".to_owned(),
            None => "it is in the kiln already, or not in this plan".to_owned(),
        };
        return Ok(page);
    };
    let with = plan
        .loads
        .iter()
        .find(|load| load.flasks.iter().any(|placed| placed.flask == id))
        .map(|load| load.flasks.iter().map(|placed| placed.flask.clone()).filter(|one| *one != id))
        .map(Iterator::collect)
        .unwrap_or_default();
    page.told = Some(Told {
        kiln: found.kiln,
        starts: grid.moment(found.start_min),
        burnt_out: grid.moment(found.burnt_out_min),
        pour: grid.moment(found.pour_min),
        with,
        in_the_way: found
            .without
            .iter()
            .map(|one| {
                let dearer_min = dearer_min(&problem, &plan, &id, found.pour_min - one.pour_min);
                InTheWay { what: words(&one.binds, dearer_min), pour: grid.moment(one.pour_min) }
            })
            .collect(),
        due: problem
            .flask(&id)
            .filter(|flask| flask.due_min < problem.horizon_min)
            .map(|flask| grid.moment(flask.due_min - flask.lead_min)),
    });
    Ok(page)
}
