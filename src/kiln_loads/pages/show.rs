//! One load: its heat line, the kiln's floor from above, and the next step.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use crate::clock::Moment;
use crate::db::once::{self, Begun};
use crate::kiln_loads::actions;
use crate::kiln_loads::view::{self, LoadRow, LoadState, Standing};
use crate::kilns::{Axis, HeatLine, heat_line};
use crate::people::Signed;
use crate::pieces::Stage;
use crate::steps;
use crate::web::{App, Fault, Form, Frame, Html, see_other};

const AXIS: Axis = Axis { per_minute: 0.8, per_degree: 0.22, floor: 200.0 };

#[derive(Template, WebTemplate)]
#[template(path = "kiln_loads/show.html")]
pub(crate) struct ShowLoad {
    frame: Frame,
    form: Form,
    load: LoadRow,
    flasks: Vec<Standing>,
    line: HeatLine,
    now: Moment,
    steps: Html,
}

impl ShowLoad {
    fn is(&self, state: &str) -> bool {
        matches!(
            (state, self.load.state),
            ("planned", LoadState::Planned)
                | ("burning", LoadState::Burning)
                | ("held", LoadState::Held)
        )
    }

    fn width(&self) -> f64 {
        (self.line.minutes as f64 + 120.0) * AXIS.per_minute
    }

    fn kiln_path(&self) -> String {
        AXIS.path(0.0, &self.line.kiln)
    }

    fn core_path(&self) -> String {
        AXIS.path(0.0, &self.line.core)
    }

    fn y(&self, celsius: &f64) -> f64 {
        AXIS.floor - celsius * AXIS.per_degree
    }

    /// Where the programme stands now, as an x of the drawing.
    fn now_x(&self) -> Option<f64> {
        let started = self.load.started_at.filter(|_| self.load.state == LoadState::Burning)?;
        let minutes = self.now.minutes_since(started) as f64;
        (minutes <= self.line.minutes as f64 + 120.0).then_some(minutes * AXIS.per_minute)
    }

    fn hours(&self) -> Vec<(f64, i64)> {
        (0..=self.line.minutes / 120 + 1)
            .map(|n| (n as f64 * 120.0 * AXIS.per_minute, n * 2))
            .collect()
    }

    fn ends(&self) -> Moment {
        self.load.starts().plus_minutes(self.line.minutes)
    }

    /// The page that computes the inside of the load's largest flask.
    fn inside(&self) -> String {
        let load = &self.load;
        let mut place = format!(
            "/studio/programmes/{}/{}/inside?load={}&kiln={}&flasks={}",
            load.family_id.0,
            load.size_class,
            load.number,
            load.kiln_id.0,
            self.flasks.len().max(1)
        );
        let largest = self.flasks.iter().max_by_key(|flask| (flask.diameter_mm, flask.height_mm));
        if let Some(flask) = largest {
            place.push_str(&format!(
                "&flask={}&investment={}",
                flask.flask_type_id.0, flask.investment_id.0
            ));
        }
        place
    }

    fn radius(&self, flask: &Standing) -> f64 {
        f64::from(flask.diameter_mm) / 2.0
    }

    /// The floor is drawn from above with its front at the bottom.
    fn back_mm(&self, flask: &Standing) -> f64 {
        f64::from(self.load.depth_mm) - flask.y_mm
    }
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<ShowLoad, Fault> {
    let load = view::load(&app.pool, number).await?;
    let flasks = view::standing_in(&app.pool, load.id).await?;
    let largest =
        flasks.iter().max_by_key(|flask| (flask.diameter_mm, flask.height_mm)).map(|flask| {
            (
                f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
                f64::from(flask.height_mm),
                flask.water_per_100,
            )
        });
    let line = heat_line(&load.programme.0, largest);
    let steps = steps::panel(&app.pool, &signed.frame, Stage::Burnout, number).await?;
    Ok(ShowLoad { frame: signed.frame.clone(), form, load, flasks, line, now: signed.now, steps })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<ShowLoad, Fault> {
    page(&app, &signed, number, Form::default()).await
}

async fn step<F>(
    app: &App,
    signed: &Signed,
    number: i32,
    mut form: Form,
    act: F,
) -> Result<Response, Fault>
where
    F: AsyncFnOnce(&mut sqlx::PgConnection, i64) -> Result<(), Fault>,
{
    let place = format!("/loads/{number}");
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match act(&mut work.tx, form.version()).await {
        Ok(()) => {
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            form.refuse(&refused);
            Ok((refused.status, page(app, signed, number, form).await?).into_response())
        }
        Err(fault) => Err(fault),
    }
}

pub(crate) async fn start(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    if !form.ticked("read_back") {
        form.wrong(
            "read_back",
            "Read the programme back from the controller first; then tick this.",
        );
        let page = page(&app, &signed, number, form).await?;
        return Ok((axum::http::StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    step(&app, &signed, number, form, async |conn, seen| {
        actions::start(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn hold(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::hold(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::take_back(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn end(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::end(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn cancel(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::cancel(conn, &signed, number, seen).await
    })
    .await
}
