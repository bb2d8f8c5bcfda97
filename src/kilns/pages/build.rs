//! A programme built from what is to be cast: pattern, investment, largest flask, alloy, kiln.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::heat::{
    BuildTargets, FlaskBody, HeatRefusal, KelvinsPerHour, Kiln, Limits, PatternFamily, Programme,
};
use foundry::quantity::Celsius;
use uuid::Uuid;

use super::inside::beside;
use crate::id::FamilyId;
use crate::kilns::choices::{AlloyRow, Equipment};
use crate::kilns::firing::{Firing, Question, rows};
use crate::kilns::{
    Chart, Curve, Mould, SegmentKind, SegmentRow, binder, set_programme, total_minutes,
};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html, Plain, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "kilns/build.html")]
pub(crate) struct BuildPage {
    frame: Frame,
    form: Form,
    equipment: Equipment,
    built: Option<Built>,
    refusal: Option<String>,
}

/// A built programme with what it does.
struct Built {
    segments: Vec<SegmentRow>,
    firing: Firing,
    working: foundry::working::Working,
}

impl BuildPage {
    fn flask_options(&self) -> Vec<(Uuid, String)> {
        self.equipment.flasks.iter().map(|flask| (flask.id, flask.words())).collect()
    }

    fn investment_options(&self) -> Vec<(Uuid, String)> {
        let words = |name: &str, kind: &str| format!("{name}, {kind}-bonded");
        self.equipment.investments.iter().map(|one| (one.id, words(&one.name, &one.kind))).collect()
    }

    fn kiln_options(&self) -> Vec<(Uuid, String)> {
        self.equipment.kilns.iter().map(|one| (one.id, one.name.clone())).collect()
    }

    fn alloy_options(&self) -> Vec<(Uuid, String)> {
        let show = &self.frame.show;
        let words =
            |one: &AlloyRow| format!("{}, flask at {}", one.name, show.degrees(one.flask_c));
        self.equipment.alloys.iter().map(|one| (one.id, words(one))).collect()
    }

    /// What is missing before anything can be built.
    fn missing(&self) -> Vec<(&'static str, &'static str)> {
        let equipment = &self.equipment;
        [
            (equipment.flasks.is_empty(), "Add a flask type", "/studio/flask-types"),
            (equipment.investments.is_empty(), "Add an investment", "/studio/investments"),
            (equipment.kilns.is_empty(), "Add a kiln", "/studio/kilns"),
            (equipment.alloys.is_empty(), "Add an alloy", "/studio/alloys"),
        ]
        .into_iter()
        .filter(|(empty, ..)| *empty)
        .map(|(_, words, place)| (words, place))
        .collect()
    }

    fn kept_fields(&self) -> Vec<(&'static str, String)> {
        FIELDS.iter().map(|name| (*name, self.form.value(name).to_owned())).collect()
    }

    fn minutes(&self, minutes: impl Plain<f64>) -> i64 {
        minutes.plain().round() as i64
    }

    fn length(&self, built: &Built) -> Html {
        working_of(&self.frame.show.minutes(total_minutes(&built.segments)), &built.working)
    }

    fn line(&self, built: &Built) -> Html {
        let burnout = &built.firing.burnout;
        let line = |of: fn(&foundry::heat::Sample) -> f64| {
            burnout.samples.iter().map(|s| (s.minute.get(), of(s))).collect::<Vec<_>>()
        };
        Chart::new("Heat line of the built programme", &self.frame.show)
            .curve(Curve::Programme, line(|sample| sample.asked.get()))
            .curve(Curve::Kiln, line(|sample| sample.kiln.get()))
            .curve(Curve::Wall, line(|sample| sample.wall.get()))
            .curve(Curve::Core, line(|sample| sample.core.get()))
            .passages(&built.firing.verdict.passages)
            .html()
    }

    fn is_ramp(&self, segment: &SegmentRow) -> bool {
        segment.kind == SegmentKind::Ramp
    }
}

const FIELDS: [&str; 7] = ["pattern", "investment", "flask", "alloy", "cast", "kiln", "flasks"];

/// What a programme is to be built for.
struct Targets {
    body: FlaskBody,
    kiln: Kiln,
    limits: Limits,
    casting: Celsius,
    cooling_k_h: f64,
}

/// The targets, and the pattern, the investment and the size they are for.
struct Asked {
    targets: Targets,
    pattern: &'static str,
    kind: String,
    size: String,
}

fn asked(equipment: &Equipment, form: &mut Form) -> Option<Result<Asked, HeatRefusal>> {
    let id = |form: &mut Form, name: &str| {
        let id = form.value(name).parse::<Uuid>().ok();
        if id.is_none() {
            form.wrong(name, "Choose one of the list.");
        }
        id
    };
    let (flask, investment) = (id(form, "flask"), id(form, "investment"));
    let (kiln, alloy) = (id(form, "kiln"), id(form, "alloy"));
    let flask = equipment.flasks.iter().find(|one| Some(one.id) == flask);
    let investment = equipment.investments.iter().find(|one| Some(one.id) == investment);
    let kiln = equipment.kilns.iter().find(|one| Some(one.id) == kiln);
    let alloy = equipment.alloys.iter().find(|one| Some(one.id) == alloy);
    let cast = match form.value("cast").trim() {
        "" => alloy.map(|alloy| alloy.flask_c),
        _ => form.number("cast", 20.0, 1400.0),
    };
    let flasks = form.whole("flasks", 1, 200);
    let (pattern, family) = match form.value("pattern") {
        "wax" => ("wax", PatternFamily::Wax),
        _ => ("resin", PatternFamily::CastableResin),
    };
    let (flask, investment, kiln) = (flask?, investment?, kiln?);
    let (cast, flasks) = (cast?, flasks?);
    let binder = binder(&investment.kind).ok()?;
    let mould = Mould {
        inside_mm: f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
        height_mm: f64::from(flask.height_mm),
        wall_mm: flask.wall_mm,
        binder,
        water_per_100: investment.water_per_100,
    };
    let kiln_can =
        Kiln::Powered { kiln: kiln.powered(), flasks: u32::try_from(flasks).unwrap_or(1) };
    let cooling_k_h = kiln.cooling_k_h();
    Some((|| {
        let (body, limits) = (mould.body()?.0, Limits::usual(binder, family));
        let casting = Celsius::new(cast)?;
        Ok(Asked {
            targets: Targets { body, kiln: kiln_can, limits, casting, cooling_k_h },
            pattern,
            kind: investment.kind.clone(),
            size: flask.size_class.clone(),
        })
    })())
}

/// Builds a programme, rounded as it is kept, and computes what it does.
fn build(targets: Targets) -> Result<Built, HeatRefusal> {
    let built = Programme::build(&BuildTargets {
        body: &targets.body,
        limits: &targets.limits,
        casting: targets.casting,
        kiln: &targets.kiln,
        heating: KelvinsPerHour::of(200.0),
        cooling: KelvinsPerHour::of(targets.cooling_k_h),
    })?;
    let segments = rows(&built.value);
    let question = Question {
        programme: crate::kilns::as_run(&segments)?,
        body: targets.body,
        kiln: targets.kiln,
        limits: targets.limits,
        casting: targets.casting,
        minute: None,
        cooling_k_h: targets.cooling_k_h,
    };
    Ok(Built { firing: question.answer()?, segments, working: built.working })
}

async fn page(app: &App, frame: Frame, mut form: Form, compute: bool) -> Result<BuildPage, Fault> {
    let equipment = Equipment::read(&app.pool).await?;
    let first = |list: Option<Uuid>| list.map(|id| id.to_string()).unwrap_or_default();
    let defaults = [
        ("pattern", "resin".to_owned()),
        ("investment", first(equipment.investments.first().map(|one| one.id))),
        ("flask", first(equipment.flasks.last().map(|one| one.id))),
        ("alloy", first(equipment.alloys.first().map(|one| one.id))),
        ("kiln", first(equipment.kilns.first().map(|one| one.id))),
        ("flasks", "1".to_owned()),
    ];
    for (name, value) in defaults {
        if form.value(name).is_empty() {
            form.set(name, &value);
        }
    }
    let (mut built, mut refusal) = (None, None);
    if compute {
        match asked(&equipment, &mut form) {
            Some(Ok(asked)) => match beside(move || build(asked.targets)).await? {
                Ok(done) => built = Some(done),
                Err(why) => refusal = Some(why.to_string()),
            },
            Some(Err(why)) => refusal = Some(why.to_string()),
            None => {}
        }
    }
    Ok(BuildPage { frame, form, equipment, built, refusal })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<BuildPage, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    let compute = form.ticked("flask");
    page(&app, signed.frame, form, compute).await
}

/// Saves the built programme in a new family, for the flask's size class.
pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let again = async |form: Form, status: StatusCode| {
        let page = page(&app, signed.frame.clone(), form, true).await?;
        Ok::<Response, Fault>((status, page).into_response())
    };
    let name = form.needed("name", 120);
    let equipment = Equipment::read(&app.pool).await?;
    let asked = match asked(&equipment, &mut form) {
        Some(Ok(asked)) if form.good() => asked,
        _ => return again(form, StatusCode::UNPROCESSABLE_ENTITY).await,
    };
    let (pattern, kind, size) = (asked.pattern, asked.kind.clone(), asked.size.clone());
    let segments = match beside(move || build(asked.targets)).await? {
        Ok(built) => built.segments,
        Err(why) => {
            form.wrong("", why.to_string());
            return again(form, StatusCode::UNPROCESSABLE_ENTITY).await;
        }
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let family = FamilyId::new();
            crate::kilns::choices::add_family(conn, family, &name, pattern, &kind)
                .await
                .map_err(|error| Fault::from(error).at("name"))?;
            set_programme(conn, family, &size, &segments).await?;
            Ok(format!("/studio/programmes/{family}/{size}/inside"))
        })
        .await?;
    ended.or_show(page(&app, signed.frame.clone(), form, true)).await
}
