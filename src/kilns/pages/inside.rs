//! Inside the flask: a programme computed for a flask, an investment and a kiln.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::heat::{Finding, HeatRefusal, Kiln, Limits, PatternFamily, Sample, Severity};
use foundry::quantity::Celsius;
use uuid::Uuid;

use crate::db::once::{self, Begun};
use crate::id::FamilyId;
use crate::kilns::choices::{Choices, programme_of_load, save_as_family};
use crate::kilns::drawing::{Curves, Cut, FLOOR};
use crate::kilns::firing::{Firing, MARGIN, Question, rows, weight};
use crate::kilns::programme::as_run;
use crate::kilns::{Mould, SIZE_CLASSES, SegmentRow, binder, programme_of, total_minutes};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html, Plain, Refused, see_other, working_of};

/// The fields that say what a firing is computed for.
const FIELDS: [&str; 7] = ["flask", "investment", "kiln", "flasks", "cast", "minute", "load"];

#[derive(Template, WebTemplate)]
#[template(path = "kilns/inside.html")]
pub(crate) struct InsidePage {
    frame: Frame,
    form: Form,
    family_id: Uuid,
    size: String,
    choices: Choices,
    /// The load whose own programme this is.
    load: Option<i32>,
    segments: Vec<SegmentRow>,
    shown: Option<Shown>,
    refusal: Option<String>,
    short: Option<Short>,
}

/// A computed firing with its drawings.
struct Shown {
    firing: Firing,
    curves: Curves,
    cut: Cut,
    casting_c: f64,
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

impl InsidePage {
    fn place(&self) -> String {
        format!("/studio/programmes/{}/{}/inside", self.family_id, self.size)
    }

    /// The same page with a field changed.
    fn with(&self, field: &str, value: &str) -> String {
        let mut query = String::new();
        for name in FIELDS {
            let kept = if name == field { value } else { self.form.value(name) };
            if !kept.is_empty() {
                query.push_str(&format!("{name}={}&", crate::web::percent(kept)));
            }
        }
        format!("{}?{}", self.place(), query.trim_end_matches('&'))
    }

    fn at_minute(&self, sample: &Sample) -> String {
        format!("{}#cut", self.with("minute", &format!("{:.0}", sample.minute.get())))
    }

    fn is_size(&self, size: &str) -> bool {
        self.size == size
    }

    fn flask_options(&self) -> Vec<(Uuid, String)> {
        self.choices.flasks.iter().map(|flask| (flask.id, flask.words())).collect()
    }

    fn investment_options(&self) -> Vec<(Uuid, String)> {
        self.choices.investments.iter().map(|one| (one.id, one.name.clone())).collect()
    }

    fn kiln_options(&self) -> Vec<(Uuid, String)> {
        self.choices.kilns.iter().map(|one| (one.id, one.name.clone())).collect()
    }

    /// What is missing before anything can be computed: words and a place.
    fn missing(&self) -> Vec<(&'static str, String)> {
        let mut missing = Vec::new();
        if self.segments.is_empty() {
            let place = format!("/studio/programmes/{}/{}", self.family_id, self.size);
            missing.push(("Enter the programme", place));
        }
        for (empty, words, place) in [
            (self.choices.flasks.is_empty(), "Add a flask type", "/studio/flask-types"),
            (
                self.choices.investments.is_empty(),
                "Add an investment of this kind",
                "/studio/investments",
            ),
            (self.choices.kilns.is_empty(), "Add a kiln", "/studio/kilns"),
        ] {
            if empty {
                missing.push((words, place.to_owned()));
            }
        }
        missing
    }

    fn kept_fields(&self) -> Vec<(&'static str, String)> {
        FIELDS.iter().map(|name| (*name, self.form.value(name).to_owned())).collect()
    }

    fn floor(&self) -> f64 {
        FLOOR
    }

    fn margin_percent(&self) -> f64 {
        MARGIN * 100.0
    }

    fn degrees(&self) -> [(f64, f64); 4] {
        Curves::degrees()
    }

    fn minutes(&self, minutes: impl Plain<f64>) -> i64 {
        minutes.plain().round() as i64
    }

    fn weight(&self, finding: &Finding) -> &'static str {
        weight(finding.severity)
    }

    fn gravity(&self, finding: &Finding) -> &'static str {
        match finding.severity {
            Severity::Danger => "blocking",
            Severity::Caution => "doubtful",
            Severity::Note => "",
        }
    }
}

impl Shown {
    fn new(firing: Firing, casting_c: f64) -> Self {
        let (curves, cut) = (Curves::of(&firing), Cut::of(&firing.section));
        Self { firing, curves, cut, casting_c }
    }

    fn verdict(&self, frame: &Frame) -> Html {
        let minutes =
            frame.show.minutes(self.firing.verdict.core_above_burn_off.get().round() as i64);
        working_of(&minutes, &self.firing.working)
    }

    fn bench(&self, frame: &Frame) -> Html {
        let figure = match self.firing.bench.value {
            Some(minutes) => frame.show.number(minutes.get(), 1, "min"),
            None => Html::escaped("more than an hour and a half"),
        };
        working_of(&figure, &self.firing.bench.working)
    }

    /// Why it is not ready, in the words of what was found.
    fn reasons(&self) -> Vec<String> {
        self.firing
            .verdict
            .findings
            .iter()
            .filter(|finding| finding.severity >= Severity::Caution)
            .map(|finding| finding.concern.to_string())
            .collect()
    }

    fn at_section(&self) -> Option<Sample> {
        self.firing.burnout.at(foundry::quantity::Minutes::of(self.firing.section_minute))
    }
}

/// What a page starts from: choices, programme, and what was asked.
struct Start {
    choices: Choices,
    segments: Vec<SegmentRow>,
    load: Option<i32>,
}

async fn start(app: &App, family: Uuid, size: &str, form: &mut Form) -> Result<Start, Fault> {
    if !SIZE_CLASSES.contains(&size) {
        return Err(Fault::NotFound);
    }
    let choices = Choices::read(&app.pool, family).await?;
    let load = form.value("load").parse::<i32>().ok();
    let segments = match load {
        Some(number) => programme_of_load(&app.pool, number).await?,
        None => {
            let mut conn = app.pool.acquire().await?;
            programme_of(&mut conn, FamilyId(family), size).await?
        }
    };
    let defaults = [
        (
            "flask",
            choices
                .flasks
                .iter()
                .rev()
                .find(|flask| flask.size_class == size)
                .or(choices.flasks.last())
                .map(|flask| flask.id.to_string()),
        ),
        ("investment", choices.investments.first().map(|one| one.id.to_string())),
        ("kiln", choices.kilns.first().map(|one| one.id.to_string())),
        ("flasks", Some("1".to_owned())),
        ("cast", segments.last().map(|last| format!("{}", last.target_c))),
    ];
    for (name, value) in defaults {
        if form.value(name).is_empty() {
            form.set(name, value.as_deref().unwrap_or(""));
        }
    }
    Ok(Start { choices, segments, load })
}

/// The question that the form asks; none when something is missing or wrong.
fn question(start: &Start, form: &mut Form) -> Option<Result<Question, HeatRefusal>> {
    fn chosen<'a, T>(
        form: &mut Form,
        name: &str,
        list: &'a [T],
        id: fn(&T) -> Uuid,
    ) -> Option<&'a T> {
        let wanted = form.value(name).to_owned();
        let found = list.iter().find(|one| id(one).to_string() == wanted);
        if found.is_none() {
            form.wrong(name, "Choose one of the list.");
        }
        found
    }
    let choices = &start.choices;
    let flask = chosen(form, "flask", &choices.flasks, |one| one.id);
    let investment = chosen(form, "investment", &choices.investments, |one| one.id);
    let kiln = chosen(form, "kiln", &choices.kilns, |one| one.id);
    let flasks = form.whole("flasks", 1, 200);
    let casting = form.number("cast", 20.0, 1400.0);
    let minute =
        if form.value("minute").is_empty() { None } else { form.number("minute", 0.0, 10_080.0) };
    let (flask, investment, kiln) = (flask?, investment?, kiln?);
    let (flasks, casting) = (flasks?, casting?);
    if form.error("minute").is_some() || start.segments.is_empty() {
        return None;
    }
    let binder = binder(&choices.family.investment_kind).ok()?;
    let pattern = match choices.family.pattern.as_str() {
        "wax" => PatternFamily::Wax,
        _ => PatternFamily::CastableResin,
    };
    let mould = Mould {
        inside_mm: f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
        height_mm: f64::from(flask.height_mm),
        wall_mm: flask.wall_mm,
        binder,
        water_per_100: investment.water_per_100,
    };
    let (powered, cooling_k_h) = (kiln.powered(), kiln.cooling_k_h());
    Some(as_run(&start.segments).and_then(|programme| {
        Ok(Question {
            programme,
            body: mould.body()?.0,
            kiln: Kiln::Powered { kiln: powered, flasks: u32::try_from(flasks).unwrap_or(1) },
            limits: Limits::usual(binder, pattern),
            casting: Celsius::new(casting)?,
            minute,
            cooling_k_h,
        })
    }))
}

/// Runs a computation beside the requests.
async fn beside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Fault> {
    tokio::task::spawn_blocking(work).await.map_err(|error| Fault::Unforeseen(error.into()))
}

async fn page(
    app: &App,
    frame: Frame,
    (family_id, size): (Uuid, String),
    mut form: Form,
    shorten: bool,
) -> Result<InsidePage, Fault> {
    let start = start(app, family_id, &size, &mut form).await?;
    let (mut shown, mut short, mut refusal) = (None, None, None);
    match question(&start, &mut form) {
        // The field of the moment stands beside the section, which is not there now.
        None => refusal = form.error("minute").map(|why| format!("minute of the section: {why}")),
        Some(Err(why)) => refusal = Some(why.to_string()),
        Some(Ok(question)) => {
            let casting_c = question.casting.get();
            let (answer, shortest) = beside(move || {
                let shortest = shorten.then(|| question.shortest());
                (question.answer(), shortest)
            })
            .await?;
            match answer {
                Ok(firing) => shown = Some(Shown::new(firing, casting_c)),
                Err(why) => refusal = Some(why.to_string()),
            }
            match shortest {
                Some(Ok(found)) => {
                    let segments = rows(&found.programme);
                    let minutes = total_minutes(&segments);
                    short = Some(Short {
                        saved: found.current.total.get().round() as i64 - minutes,
                        minutes,
                        segments,
                        ready: found.verdict.ready,
                        above_burn_off: found.verdict.core_above_burn_off.get().round() as i64,
                        difference_k: found.verdict.difference_at_pour.get(),
                        tried: i64::try_from(found.tried).unwrap_or(i64::MAX),
                    });
                }
                Some(Err(why)) => refusal = refusal.or(Some(why.to_string())),
                None => {}
            }
        }
    }
    Ok(InsidePage {
        frame,
        form,
        family_id,
        size,
        choices: start.choices,
        load: start.load,
        segments: start.segments,
        shown,
        refusal,
        short,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(place): Path<(Uuid, String)>,
    RawQuery(query): RawQuery,
) -> Result<InsidePage, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    let shorten = form.ticked("shortest");
    page(&app, signed.frame, place, form, shorten).await
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
        let page = page(&app, frame, (family, size.clone()), form, true).await?;
        Ok::<Response, Fault>((status, page).into_response())
    };
    let name = form.needed("name", 120);
    let start = start(&app, family, &size, &mut form).await?;
    let asked = question(&start, &mut form);
    let (true, Some(question)) = (form.good(), asked) else {
        return again(form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let found = beside(move || question.and_then(|question| question.shortest())).await?;
    let segments = match found {
        Ok(found) => rows(&found.programme),
        Err(why) => {
            form.wrong("", why.to_string());
            return again(form, StatusCode::UNPROCESSABLE_ENTITY).await;
        }
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match save_as_family(&mut work.tx, family, &size, &name, &segments).await {
        Ok(new) => {
            let place = format!("/studio/programmes/{}/{size}", new.0);
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(error) => match Fault::from(error) {
            Fault::Refused(Refused { status, message, .. }) => {
                drop(work);
                form.wrong("name", message);
                again(form, status).await
            }
            fault => Err(fault),
        },
    }
}
