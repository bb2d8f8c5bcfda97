//! One load: its heat line, the kiln's floor from above, and the next step.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use crate::clock::Moment;
use crate::doubt;
use crate::kiln_loads::actions;
use crate::kiln_loads::controller::{Setting, settings};
use crate::kiln_loads::sight::Sight;
use crate::kiln_loads::view::{self, LoadRow, LoadState, Standing};
use crate::kilns::{Slow, total_minutes};
use crate::losses;
use crate::people::Signed;
use crate::pieces::Stage;
use crate::steps;
use crate::tariffs::{cost_of, in_force, week_minute};
use crate::web::{App, Fault, Form, Frame, Html, Show, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "kiln_loads/show.html")]
pub(crate) struct ShowLoad {
    frame: Frame,
    form: Form,
    load: LoadRow,
    flasks: Vec<Standing>,
    steps: Html,
    /// What failed in its flasks, with what that costs.
    losses: Html,
    sight: Sight,
    line: Html,
    differences: Vec<Difference>,
    /// What its electricity costs, and by which tariff.
    cost: Option<(Html, String)>,
}

/// Something that differed from the programme.
pub(super) struct Difference {
    /// How far into the programme, and when by the clock.
    pub(super) when: String,
    pub(super) words: String,
    pub(super) grave: bool,
}

/// What differed, as people read it.
pub(super) fn differences(sight: &Sight, load: &LoadRow, show: &Show) -> Vec<Difference> {
    sight
        .events()
        .iter()
        .map(|event| {
            let minute = event.minute.get();
            let at = load.starts().plus_seconds((minute * 60.0) as i64);
            let words = event.what.to_string();
            let mut letters = words.chars();
            Difference {
                when: format!("after {}, about {}", show.span(minute), show.moment(at)),
                words: letters
                    .next()
                    .map_or(String::new(), |first| first.to_uppercase().chain(letters).collect()),
                grave: event.severity >= foundry::heat::Severity::Caution,
            }
        })
        .collect()
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

    /// Why it is held later than by its programme; none once it is held.
    fn slow(&self) -> Option<&Slow> {
        self.as_known().and(self.sight.slow.as_ref())
    }

    /// When it is held in this kiln as it is known; none where that is by its programme, or it
    /// is held already.
    fn as_known(&self) -> Option<Moment> {
        if !self.is("planned") && !self.is("burning") {
            return None;
        }
        let longer = self.sight.slow.as_ref()?.minutes;
        Some(self.load.held_by_programme().plus_minutes(longer))
    }

    /// When it is to be held, as well as that is known.
    fn ends(&self) -> Moment {
        self.as_known().unwrap_or_else(|| self.load.held_by_programme())
    }

    /// The same, opening into its working.
    fn ends_worked(&self) -> Html {
        let at = Html::escaped(&self.frame.show.moment(self.ends()));
        match self.slow() {
            Some(slow) => working_of(&at, &slow.working()),
            None => at,
        }
    }

    /// The first pour that is planned before the load will be held.
    fn too_early(&self) -> Option<Moment> {
        let ends = self.as_known()?;
        self.flasks
            .iter()
            .filter(|flask| flask.poured_at.is_none())
            .map(|flask| flask.planned_pour_at)
            .filter(|at| *at < ends)
            .min()
    }

    /// The flasks, each with what the controller is to be set to before it.
    fn poured_in_order(&self) -> Vec<(&Standing, Option<Setting>)> {
        let end_c = self.load.programme.0.last().map(|segment| segment.target_c);
        let mut flasks: Vec<&Standing> = self.flasks.iter().collect();
        flasks.sort_by_key(|flask| flask.poured_at.unwrap_or(flask.planned_pour_at));
        let first = flasks.first().map(|flask| flask.flask_c).unwrap_or_default();
        let set = settings(
            end_c.unwrap_or(first),
            flasks.iter().map(|flask| flask.flask_c),
            self.sight.facts.cool_min_per_100c,
        );
        let open = |flask: &Standing, set: Option<Setting>| {
            set.filter(|_| flask.poured_at.is_none() && self.load.state != LoadState::Ended)
        };
        flasks.into_iter().zip(set).map(|(flask, set)| (flask, open(flask, set))).collect()
    }

    /// The moment of the log's last reading, if that is still to come.
    fn beyond(&self) -> Option<Moment> {
        self.sight.beyond(&self.load, self.frame.show.now)
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
        let largest = self
            .flasks
            .iter()
            .max_by_key(|flask| (flask.filled.diameter_mm, flask.filled.height_mm));
        if let Some(flask) = largest {
            place.push_str(&format!(
                "&flask={}&investment={}",
                flask.flask_type_id.0, flask.investment_id.0
            ));
        }
        place
    }

    /// Whether it has begun, so that there may be a log of it.
    fn has_begun(&self) -> bool {
        self.load.started_at.is_some()
    }

    /// Where the core ends as it is predicted.
    fn core_at_end(&self) -> Option<f64> {
        let burnout = self.sight.predicted.as_ref()?;
        burnout.samples.last().map(|sample| sample.core.get())
    }

    /// The electricity that the firing takes as it is predicted.
    fn kwh(&self) -> Option<f64> {
        self.sight.predicted.as_ref()?.kiln_kwh
    }

    /// The typical and the greatest difference of the log, K.
    fn off(&self) -> Option<(f64, f64)> {
        let (_, comparison) = self.sight.held()?;
        Some((comparison.typical.get(), comparison.greatest.get().abs()))
    }

    /// How long the burnout took until it was held.
    fn took(&self) -> Option<String> {
        let held = self.load.held_at?;
        Some(doubt::span(held.seconds_since(self.load.starts())))
    }

    fn planned(&self) -> String {
        doubt::span(total_minutes(&self.load.programme.0) * 60)
    }

    fn radius(&self, flask: &Standing) -> f64 {
        f64::from(flask.filled.diameter_mm) / 2.0
    }

    /// The floor is drawn from above with its front at the bottom.
    fn back_mm(&self, flask: &Standing) -> f64 {
        f64::from(self.load.depth_mm) - flask.y_mm
    }
}

/// The electricity of a load by the tariff of the day it begins.
async fn costs(
    app: &App,
    show: &Show,
    load: &LoadRow,
    sight: &Sight,
) -> Result<Option<(Html, String)>, Fault> {
    let Some(burnout) = &sight.predicted else { return Ok(None) };
    let starts = load.starts();
    let Some(tariff) = in_force(&app.pool, starts.day_in(&show.zone)).await? else {
        return Ok(None);
    };
    let costed = cost_of(burnout, &tariff.tariff, week_minute(starts, &show.zone));
    Ok(costed.ok().map(|costed| {
        let amount = costed.cost.value;
        let figure = show.money_in(amount.amount(), amount.currency().code());
        (working_of(&figure, &costed.cost.working), tariff.name)
    }))
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<ShowLoad, Fault> {
    let load = view::load(&app.pool, number).await?;
    let flasks = view::standing_in(&app.pool, load.id).await?;
    let steps = steps::panel(&app.pool, &signed.frame, Stage::Burnout, number).await?;
    let batches = view::batches(&app.pool, &load).await?;
    let stages = [Stage::Burnout, Stage::Cast];
    let losses = losses::of_batches(&app.pool, &signed.frame, &batches, &stages).await?;
    let sight = Sight::of(app, &load, &flasks).await?;
    let show = &signed.frame.show;
    let line = sight.chart(app, show, &load, &flasks, None).await?.html();
    let differences = differences(&sight, &load, show);
    let cost = match signed.frame.owner() {
        true => costs(app, show, &load, &sight).await?,
        false => None,
    };
    Ok(ShowLoad {
        frame: signed.frame.clone(),
        form,
        load,
        flasks,
        sight,
        line,
        differences,
        steps,
        losses,
        cost,
    })
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
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await?;
            Ok(format!("/loads/{number}"))
        })
        .await?;
    ended.or_show(page(app, signed, number, form)).await
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
    // Its clock runs as long as this kiln takes for the programme, as far as that is known.
    let load = view::load(&app.pool, number).await?;
    let flasks = view::standing_in(&app.pool, load.id).await?;
    let takes_min = Sight::of(&app, &load, &flasks).await?.takes_min();
    step(&app, &signed, number, form, async |conn, seen| {
        actions::start(conn, &signed, number, seen, takes_min).await
    })
    .await
}

pub(crate) async fn hold(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let sure = form.is_sure();
    step(&app, &signed, number, form, async |conn, seen| {
        actions::hold(conn, &signed, number, seen, sure).await
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
