//! Flasks chosen for one bowl: powder and water in total and for each, mix by mix.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::flasks::mixing::model::{BowlRow, Group, Mixes, ToFill, groups, share_out};
use crate::flasks::mixing::store::{self, LotRow, NewMix};
use crate::flasks::view;
use crate::json::working::WorkingJson;
use crate::people::Signed;
use crate::timers;
use crate::web::{App, Fault, Form, Frame, Html, Refused, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "flasks/mix.html")]
pub(crate) struct MixPage {
    frame: Frame,
    form: Form,
    waiting: Vec<ToFill>,
    groups: Vec<Group>,
    bowl: BowlRow,
    lots: Vec<LotRow>,
}

impl MixPage {
    fn is_chosen(&self, flask: &ToFill) -> bool {
        self.groups.iter().any(|group| group.flasks.iter().any(|one| one.id == flask.id))
    }

    fn powder(&self, mixes: &Mixes, n: &usize) -> Html {
        let grams = mixes.mixes.get(*n).map_or(0.0, |mix| mix.powder.get());
        working_of(&self.frame.show.bulk_grams(grams), &mixes.working)
    }

    fn totals(&self, mixes: &Mixes) -> (f64, f64) {
        mixes.mixes.iter().fold((0.0, 0.0), |(powder, water), mix| {
            (powder + mix.powder.get(), water + mix.water.get())
        })
    }

    /// The flasks of a mix, each with its share of powder and water.
    fn shares<'a>(
        &self,
        group: &'a Group,
        mixes: &Mixes,
        n: &usize,
    ) -> Vec<(&'a ToFill, f64, f64)> {
        let Some(mix) = mixes.mixes.get(*n) else { return Vec::new() };
        let members: Vec<&ToFill> =
            mix.flasks.iter().filter_map(|place| group.flasks.get(*place)).collect();
        let whole: f64 = members.iter().map(|flask| flask.powder_g).sum();
        members
            .into_iter()
            .map(|flask| {
                let share = if whole > 0.0 { flask.powder_g / whole } else { 0.0 };
                (flask, mix.powder.get() * share, mix.water.get() * share)
            })
            .collect()
    }

    /// The bag that the powder comes from.
    fn bag(&self, group: &Group) -> Option<&LotRow> {
        self.lots.iter().find(|lot| {
            lot.investment_id == group.investment_id
                && lot.opened_on.is_some()
                && lot.emptied_on.is_none()
                && lot.left_g > 0.0
        })
    }
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<MixPage, Fault> {
    let waiting = store::waiting(&app.pool).await?;
    let wanted: Vec<i32> = form.all("flask").filter_map(|number| number.parse().ok()).collect();
    let chosen = waiting.iter().filter(|flask| wanted.contains(&flask.number)).cloned().collect();
    let bowl = store::bowl(&app.pool).await?;
    let lots = store::lots(&app.pool).await?;
    let groups = groups(chosen, &bowl);
    Ok(MixPage { frame: signed.frame.clone(), form, waiting, groups, bowl, lots })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<MixPage, Fault> {
    let mut form = Form::parse(query.unwrap_or_default().as_bytes());
    if form.value("slurry_c").is_empty() {
        form.set("slurry_c", "22");
    }
    page(&app, &signed, form).await
}

/// The powder is in the water: the clock of the mix begins.
pub(crate) async fn start(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let slurry_c = form.number("slurry_c", 1.0, 45.0);
    // Each flask comes with the version that its weights were seen in.
    let seen: Vec<(i32, i64)> = form
        .all("of")
        .filter_map(|of| {
            let (number, version) = of.split_once(':')?;
            Some((number.parse().ok()?, version.parse().ok()?))
        })
        .collect();
    if seen.is_empty() {
        form.wrong("", "Choose the flasks of the mix first.");
    }
    for (number, _) in &seen {
        form.put("flask", &number.to_string());
    }
    let (true, Some(slurry_c)) = (form.good(), slurry_c) else {
        form.wrong("", "The clock was not started: look at the messages below.");
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let number = begin(conn, &signed, &seen, slurry_c).await?;
            Ok(format!("/mixes/{number}"))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}

async fn begin(
    conn: &mut sqlx::PgConnection,
    signed: &Signed,
    seen: &[(i32, i64)],
    slurry_c: f64,
) -> Result<i32, Fault> {
    let numbers: Vec<i32> = seen.iter().map(|(number, _)| *number).collect();
    let flasks = store::lock(conn, &numbers).await?;
    let current = |flask: &ToFill| seen.contains(&(flask.number, flask.version));
    if flasks.len() != seen.len() || !flasks.iter().all(current) {
        return Err(Refused::stale("these flasks").into());
    }
    let Some(first) = flasks.first() else { return Err(Fault::NotFound) };
    if flasks.iter().any(|flask| flask.investment_id != first.investment_id) {
        return Err(Refused::conflict("One mix has one investment. Nothing was started.").into());
    }
    let bowl = store::bowl(&mut *conn).await?;
    let shared = share_out(&flasks, &bowl)
        .map_err(|why| Fault::from(Refused::conflict(format!("{why}. Nothing was started."))))?;
    let [mix] = &shared.mixes[..] else {
        return Err(Refused::conflict(format!(
            "These flasks need {} mixes with this bowl and pump; start them one after the other.",
            shared.mixes.len()
        ))
        .into());
    };
    let steps = view::mixing_steps(conn, first.id, slurry_c, flasks.len()).await?;
    let ids: Vec<_> = flasks.iter().map(|flask| flask.id).collect();
    let number = store::begin(
        conn,
        &NewMix {
            investment: first.investment_id,
            powder_g: mix.powder.get(),
            water_g: mix.water.get(),
            slurry_c,
            clock: &serde_json::to_value(&steps)?,
            working: &serde_json::to_value(WorkingJson::from(&shared.working))?,
            flasks: &ids,
        },
        signed.now,
        signed.person,
    )
    .await?;
    let subject = format!("mix:{number}");
    for step in &steps {
        timers::start(conn, &subject, &step.name, signed.now, step.end_min).await?;
    }
    let whole: f64 = flasks.iter().map(|flask| flask.powder_g).sum();
    for flask in &flasks {
        let grams = mix.powder.get() * flask.powder_g / whole.max(1.0e-9);
        store::take_powder(conn, flask.id, grams, signed.now).await?;
    }
    Ok(number)
}
