//! Inside the flask: a programme computed for a flask, an investment and a kiln; tried, changed,
//! shortened, saved.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::heat::Section;
use foundry::quantity::Minutes;
use foundry::working::Worked;
use uuid::Uuid;

use super::parts::{Ramps, Shown, cut_part, tried_part};
use crate::id::FamilyId;
use crate::kilns::asked::{FIELDS, Start};
use crate::kilns::choices::save_as_family;
use crate::kilns::editor;
use crate::kilns::firing::{MARGIN, Question, rows};
use crate::kilns::{SegmentRow, set_programme, total_minutes};
use crate::people::{Owner, Signed};
use crate::tariffs::{Costed, cost_of, in_force};
use crate::web::{App, Fault, Form, Frame, Html, Plain, see_other, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "kilns/inside.html")]
pub(crate) struct InsidePage {
    pub(super) frame: Frame,
    pub(super) form: Form,
    pub(super) family_id: Uuid,
    pub(super) size: String,
    pub(super) start: Start,
    pub(super) shown: Option<Shown>,
    pub(super) ramps: Ramps,
    pub(super) refusal: Option<String>,
    bench: Option<Worked<Option<Minutes>>>,
    section: Option<(f64, Section)>,
    short: Option<Short>,
    tariff: Option<String>,
    cost: Option<Costed>,
}

/// The shortest safe programme.
struct Short {
    segments: Vec<SegmentRow>,
    minutes: i64,
    saved: i64,
    ready: bool,
    above_burn_off: i64,
    difference_k: f64,
    tried: i64,
}

const WEEK: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

impl InsidePage {
    pub(super) fn place(&self) -> String {
        format!("/studio/programmes/{}/{}/inside", self.family_id, self.size)
    }

    /// The fields that are kept from page to page; those of a programme that is tried too.
    pub(super) fn kept_fields(&self) -> Vec<(String, String)> {
        let mut names: Vec<String> = FIELDS.iter().map(|name| (*name).to_owned()).collect();
        if self.start.tried {
            names.extend(editor::fields());
        }
        names
            .into_iter()
            .map(|name| (self.form.value(&name).to_owned(), name))
            .filter(|(value, _)| !value.is_empty())
            .map(|(value, name)| (name, value))
            .collect()
    }

    /// The address of another moment, around its minute.
    pub(super) fn around_minute(&self) -> (String, String) {
        let mut query = String::new();
        for (name, value) in self.kept_fields() {
            if name != "minute" {
                query.push_str(&format!("{name}={}&", crate::web::percent(&value)));
            }
        }
        (format!("{}?{query}minute=", self.place()), "#cut".to_owned())
    }

    fn is_size(&self, size: &str) -> bool {
        self.size == size
    }

    fn flask_options(&self) -> Vec<(Uuid, String)> {
        self.start.choices.flasks.iter().map(|flask| (flask.id, flask.words())).collect()
    }

    fn investment_options(&self) -> Vec<(Uuid, String)> {
        self.start.choices.investments.iter().map(|one| (one.id, one.name.clone())).collect()
    }

    fn kiln_options(&self) -> Vec<(Uuid, String)> {
        self.start.choices.kilns.iter().map(|one| (one.id, one.name.clone())).collect()
    }

    fn day_options(&self) -> Vec<(usize, &'static str)> {
        WEEK.into_iter().enumerate().collect()
    }

    /// What is missing before anything can be computed: words and a place.
    fn missing(&self) -> Vec<(&'static str, String)> {
        let choices = &self.start.choices;
        [
            (choices.flasks.is_empty(), "Add a flask type", "/studio/flask-types"),
            (
                choices.investments.is_empty(),
                "Add an investment of this kind",
                "/studio/investments",
            ),
            (choices.kilns.is_empty(), "Add a kiln", "/studio/kilns"),
        ]
        .into_iter()
        .filter(|(empty, ..)| *empty)
        .map(|(_, words, place)| (words, place.to_owned()))
        .collect()
    }

    /// Heat line, verdict and programme: what changes while it is tried.
    fn tried(&self) -> Html {
        tried_part(self)
    }

    fn cut(&self) -> Html {
        let part = |(minute, section): &(f64, Section)| cut_part(&self.frame, *minute, section);
        self.section.as_ref().map(part).unwrap_or_default()
    }

    /// Where a script asks for the flask cut open at another minute.
    fn section_address(&self) -> String {
        self.around_minute().0.replacen("/inside?", "/inside/section?", 1)
    }

    fn chosen_minute(&self) -> f64 {
        self.section.as_ref().map_or(0.0, |(minute, _)| minute.round())
    }

    fn total(&self) -> i64 {
        self.start.segments.iter().map(|segment| i64::from(segment.minutes)).sum()
    }

    fn margin_percent(&self) -> f64 {
        MARGIN * 100.0
    }

    fn minutes(&self, minutes: impl Plain<f64>) -> i64 {
        minutes.plain().round() as i64
    }

    fn on_the_bench(&self) -> Option<Html> {
        let bench = self.bench.as_ref()?;
        let figure = match bench.value {
            Some(minutes) => self.frame.show.number(minutes.get(), 1, "min"),
            None => Html::escaped("more than an hour and a half"),
        };
        Some(working_of(&figure, &bench.working))
    }

    fn costs(&self) -> Option<Html> {
        let cost = &self.cost.as_ref()?.cost;
        let figure = self.frame.show.money_in(cost.value.amount(), cost.value.currency().code());
        Some(working_of(&figure, &cost.working))
    }

    /// When in the week it costs least, and how much then.
    fn cheapest(&self) -> Option<(String, Html)> {
        let (minute, cost) = self.cost.as_ref()?.cheapest.as_ref()?;
        let day = WEEK[(*minute as usize / 1440) % 7];
        let figure = self.frame.show.money_in(cost.amount(), cost.currency().code());
        Some((format!("{day} {:02}:{:02}", minute / 60 % 24, minute % 60), figure))
    }
}

/// Runs a computation beside the requests.
pub(super) async fn beside<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Fault> {
    tokio::task::spawn_blocking(work).await.map_err(|error| Fault::Unforeseen(error.into()))
}

/// How much of a page is wanted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// What changes while a programme is tried.
    Tried,
    /// All of it.
    Whole,
    /// All of it, with the shortest safe programme.
    Shortest,
}

pub(super) async fn page(
    app: &App,
    frame: Frame,
    (family_id, size): (Uuid, String),
    mut form: Form,
    wanted: Wanted,
) -> Result<InsidePage, Fault> {
    let start = Start::read(app, family_id, &size, &mut form, &frame.show).await?;
    let asked = start.question(&mut form);
    let begins = Start::begins(&mut form);
    let today = frame.show.now.day_in(&frame.show.zone);
    let tariff = in_force(&app.pool, today).await?;
    let mut page = InsidePage {
        frame,
        form,
        family_id,
        size,
        start,
        shown: None,
        ramps: Ramps::default(),
        refusal: None,
        bench: None,
        section: None,
        short: None,
        tariff: tariff.as_ref().map(|tariff| tariff.name.clone()),
        cost: None,
    };
    let question = match asked {
        // The field of the moment stands beside the section, which is not there now.
        None => {
            page.refusal =
                page.form.error("minute").map(|why| format!("minute of the section: {why}"));
            return Ok(page);
        }
        Some(Err(why)) => {
            page.refusal = Some(why.to_string());
            return Ok(page);
        }
        Some(Ok(question)) => question,
    };
    let casting_c = question.casting.get();
    let work = move || {
        let answer = question.answer()?;
        let ramps = question.ramps();
        let (mut bench, mut section, mut shortest, mut cost) = (None, None, None, None);
        if wanted != Wanted::Tried {
            bench = Some(question.bench(answer.lowest_c)?);
            section = Some(question.section()?);
            shortest = (wanted == Wanted::Shortest).then(|| question.shortest());
            cost = tariff
                .zip(begins)
                .and_then(|(tariff, at)| cost_of(&answer.burnout, &tariff.tariff, at).ok());
        }
        Ok::<_, foundry::heat::HeatRefusal>((answer, ramps, bench, section, shortest, cost))
    };
    match beside(work).await? {
        Ok((answer, ramps, bench, section, shortest, cost)) => {
            page.ramps = Ramps::of(&answer, ramps, &page.start.segments);
            page.shown = Some(Shown::new(answer, casting_c));
            (page.bench, page.section, page.cost) = (bench, section, cost);
            match shortest {
                Some(Ok(found)) => {
                    let segments = rows(&found.programme);
                    let minutes = total_minutes(&segments);
                    page.short = Some(Short {
                        saved: found.current.total.get().round() as i64 - minutes,
                        minutes,
                        segments,
                        ready: found.verdict.ready,
                        above_burn_off: found.verdict.core_above_burn_off.get().round() as i64,
                        difference_k: found.verdict.difference_at_pour.get(),
                        tried: i64::try_from(found.tried).unwrap_or(i64::MAX),
                    });
                }
                Some(Err(why)) => page.refusal = Some(why.to_string()),
                None => {}
            }
        }
        Err(why) => page.refusal = Some(why.to_string()),
    }
    if let (Some(shown), Some(short)) = (&mut page.shown, &page.short) {
        shown.shortest = short.segments.clone();
    }
    if let (Some(shown), Some(bench)) = (&mut page.shown, &page.bench) {
        shown.bench_min = bench.value.map(|minutes| minutes.get());
    }
    Ok(page)
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(place): Path<(Uuid, String)>,
    RawQuery(query): RawQuery,
) -> Result<InsidePage, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    let wanted = if form.ticked("shortest") { Wanted::Shortest } else { Wanted::Whole };
    page(&app, signed.frame, place, form, wanted).await
}

/// The programme is shown, tried and changed beside what it does.
pub(crate) async fn to_inside(Path((family, size)): Path<(Uuid, String)>) -> Response {
    see_other(&format!("/studio/programmes/{family}/{size}/inside#programme"))
}

/// Saves the programme as it was typed.
pub(crate) async fn set(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((family, size)): Path<(Uuid, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let typed = editor::brings(&form);
    let start = Start::read(&app, family, &size, &mut form, &signed.frame.show).await?;
    if form.good() && !typed {
        form.wrong("", "A programme needs at least one line.");
    }
    if form.good()
        && let Err(why) = crate::kilns::as_run(&start.segments)
    {
        form.wrong("", format!("This programme cannot be run: {why}."));
    }
    if !form.good() {
        let frame = signed.frame.clone();
        let page = page(&app, frame, (family, size), form, Wanted::Whole).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    form.act_once(&app.pool, signed.now, async |conn| {
        set_programme(conn, FamilyId(family), &size, &start.segments).await?;
        Ok(format!("/studio/programmes/{family}/{size}/inside"))
    })
    .await?
    .led()
}

/// Saves the shortest programme as a family of its own.
pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((family, size)): Path<(Uuid, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let again = async |form: Form, status: StatusCode| {
        let frame = signed.frame.clone();
        let page = page(&app, frame, (family, size.clone()), form, Wanted::Shortest).await?;
        Ok::<Response, Fault>((status, page).into_response())
    };
    let name = form.needed("name", 120);
    let start = Start::read(&app, family, &size, &mut form, &signed.frame.show).await?;
    let asked = start.question(&mut form);
    let (true, Some(question)) = (form.good(), asked) else {
        return again(form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let found = beside(move || question.and_then(|question: Question| question.shortest())).await?;
    let segments = match found {
        Ok(found) => rows(&found.programme),
        Err(why) => {
            form.wrong("", why.to_string());
            return again(form, StatusCode::UNPROCESSABLE_ENTITY).await;
        }
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let new = save_as_family(conn, family, &size, &name, &segments)
                .await
                .map_err(|error| Fault::from(error).at("name"))?;
            Ok(format!("/studio/programmes/{}/{size}/inside", new.0))
        })
        .await?;
    let frame = signed.frame.clone();
    ended.or_show(page(&app, frame, (family, size.clone()), form, Wanted::Shortest)).await
}
