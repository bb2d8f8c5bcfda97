//! A year ahead: weeks by kilns, how full each is, and what is due.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use super::show::monday_of;
use crate::clock::Day;
use crate::json::plan::PlanJson;
use crate::people::Signed;
use crate::plan::grid::Grid;
use crate::plan::store::INTERRUPTED_AFTER_S;
use crate::plan::view;
use crate::plan::year::{Taken, Year, from_plan};
use crate::studio::{Settings, Week};
use crate::web::{App, Fault, Frame};

/// Width of a week and height of a kiln in the strip.
const WEEK_WIDTH: f64 = 20.0;
const KILN_HEIGHT: f64 = 30.0;
/// Room for the names of kilns.
const NAMES_WIDTH: f64 = 120.0;

/// A week of the strip.
struct Column {
    monday: Day,
    x: f64,
    words: String,
    due: String,
}

#[derive(Template, WebTemplate)]
#[template(path = "plan/year.html")]
pub(crate) struct ShowYear {
    frame: Frame,
    kilns: Vec<String>,
    year: Year,
    columns: Vec<Column>,
    /// Bars of each kiln, as one path.
    bars: Vec<String>,
    months: Vec<(f64, String)>,
    width: f64,
    height: f64,
    /// The proposal that is shown; none when it is what was agreed.
    proposal: Option<i32>,
    /// Flasks that wait and stand in no load of what is shown.
    waiting: usize,
}

impl ShowYear {
    fn lane_y(&self, n: &usize) -> f64 {
        *n as f64 * KILN_HEIGHT
    }

    fn percent(&self, share: &f64) -> String {
        format!("{:.0}", share * 100.0)
    }
}

fn bars(year: &Year, kiln: usize) -> String {
    let mut path = String::new();
    for (n, week) in year.weeks.iter().enumerate() {
        let share = week.kilns.get(kiln).map_or(0.0, |cell| cell.share);
        if share > 0.0 {
            let height = (share * (KILN_HEIGHT - 6.0)).max(1.0);
            let (x, y) = (NAMES_WIDTH + n as f64 * WEEK_WIDTH + 3.0, KILN_HEIGHT);
            path.push_str(&format!(
                "M{x:.0} {y:.0}v-{height:.1}h{:.0}v{height:.1}z",
                WEEK_WIDTH - 6.0
            ));
        }
    }
    path
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowYear, Fault> {
    let pool = &app.pool;
    let frame = signed.frame;
    let show = &frame.show;
    let settings = Settings::load(pool).await?;
    let first = monday_of(signed.now.day_in(&show.zone));
    let kilns: Vec<String> = view::kilns(pool).await?.into_iter().map(|kiln| kiln.name).collect();
    let waiting = view::waiting(pool).await?;
    let open = view::open_plan(pool).await?.filter(|plan| {
        plan.state == "proposed"
            || (plan.state == "computing"
                && signed.now.seconds_since(plan.made_at) < INTERRUPTED_AFTER_S)
    });
    let result: Option<PlanJson> = open
        .as_ref()
        .and_then(|plan| plan.result.clone())
        .and_then(|result| serde_json::from_value(result).ok());
    let agreed = view::taken(pool, first.start_in(&show.zone), settings.pour_min).await?;
    let (taken, waiting): (Vec<Taken>, usize) = match (&result, &open) {
        (Some(plan), Some(row)) => {
            let grid = Grid::on(row.day_zero, show.zone.clone());
            let begun = agreed.into_iter().filter(|load| !load.planned);
            let new = from_plan(plan, &waiting, &grid, i64::from(settings.pour_min));
            (begun.chain(new).collect(), plan.unplanned.len())
        }
        _ => (agreed, waiting.iter().filter(|(_, in_load)| !in_load).count()),
    };
    let hours = Week::load(pool, first).await?;
    let due = view::due_orders(pool, first).await?;
    let year = Year::new(first, &kilns, &taken, &hours, &due, &show.zone);
    let x = |n: usize| NAMES_WIDTH + n as f64 * WEEK_WIDTH;
    let columns = year
        .weeks
        .iter()
        .enumerate()
        .map(|(n, week)| {
            let cells = kilns.iter().zip(&week.kilns).filter(|(_, cell)| cell.loads > 0);
            let cells: Vec<String> =
                cells.map(|(kiln, cell)| format!("{kiln} {}", cell.words())).collect();
            let taken =
                if cells.is_empty() { "nothing planned".to_owned() } else { cells.join("; ") };
            let due = match week.due {
                0 => String::new(),
                1 => ", 1 order due".to_owned(),
                many => format!(", {many} orders due"),
            };
            Column {
                monday: week.monday,
                x: x(n),
                words: format!("Week from {}: {taken}{due}", show.day(week.monday)),
                due: if week.due > 0 { week.due.to_string() } else { String::new() },
            }
        })
        .collect();
    let months = year
        .weeks
        .iter()
        .enumerate()
        // The first name would lie on the next one's when that is near.
        .filter(|(n, week)| week.monday.0.day() <= 7 || (*n == 0 && week.monday.0.day() < 18))
        .map(|(n, week)| (x(n), week.monday.0.strftime("%b").to_string()))
        .collect();
    Ok(ShowYear {
        bars: (0..kilns.len()).map(|kiln| bars(&year, kiln)).collect(),
        width: x(year.weeks.len()),
        height: kilns.len() as f64 * KILN_HEIGHT,
        proposal: result.and(open).map(|plan| plan.number),
        frame,
        kilns,
        year,
        columns,
        months,
        waiting,
    })
}
