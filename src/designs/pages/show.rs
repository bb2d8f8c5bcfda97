//! One design: picture, measurements, weights, versions, orders.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::new::with_nobody;
use crate::analysis::{self, Casting, LookFound, Method};
use crate::clients;
use crate::designs::change::{self, Change};
use crate::designs::closer::Closer;
use crate::designs::forms::{DesignForm, SPRUE_ROWS, casting_filled};
use crate::designs::ring::{Asked, Ring, SCALES};
use crate::designs::view::{self, DesignRow, OrderRow, VersionRow};
use crate::designs::{Design, Designs, Original, actions, weight};
use crate::forecasts::{self, Beside, What};
use crate::json::examined::BoreJson;
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "designs/show.html")]
pub(crate) struct ShowDesign {
    frame: Frame,
    design: DesignRow,
    version: VersionRow,
    versions: Vec<VersionRow>,
    orders: Vec<OrderRow>,
    weights: Vec<(String, Html)>,
    clients: Vec<(String, String)>,
    form: Form,
    upload: Form,
    unit: Form,
    repair: Form,
    casting: Form,
    closer: Option<Closer>,
    /// What became of castings that were said to come out so.
    beside: Vec<Beside>,
    change: Option<Change>,
    ring: Option<Ring>,
    alloys: Vec<(String, String)>,
}

/// What the repair can put right.
const MENDABLE: [&str; 6] = [
    "open_edges",
    "tiny_holes",
    "flipped_facets",
    "inside_out",
    "doubled_facets",
    "degenerate_facets",
];

impl ShowDesign {
    /// Whether something was found that the repair may put right.
    fn mendable(&self) -> bool {
        let problems = self.version.problems.iter();
        self.version.unit.is_some()
            && problems.map(|problem| problem.code.as_str()).any(|code| MENDABLE.contains(&code))
    }

    /// The closer look, once it is there.
    fn looked(&self) -> Option<(&Closer, &LookFound)> {
        let closer = self.closer.as_ref()?;
        Some((closer, closer.look.there()?))
    }

    /// The ring's sizes, where there is a bore.
    fn ring(&self) -> Option<(&Ring, &BoreJson)> {
        let (_, look) = self.looked()?;
        Some((self.ring.as_ref()?, look.examined.bore.as_ref()?))
    }

    /// What became of castings with the verdict that stands here.
    fn beside(&self, what: &What) -> Option<&Beside> {
        self.beside.iter().find(|beside| beside.what == *what)
    }

    /// The share of them that came out, with the interval of the true one.
    fn came_out(&self, beside: &Beside) -> Option<Html> {
        let (share, low, high, working) = beside.share()?;
        let show = &self.frame.show;
        let figure = working_of(&show.number(share, 0, "%"), &working);
        let ends = (show.number(low, 0, ""), show.number(high, 0, "%"));
        Some(Html::trusted(format!("{figure}, {} to {} for all one knows", ends.0, ends.1)))
    }

    fn per_cent(&self, chance: &f64) -> Html {
        self.frame.show.number(chance * 100.0, 0, "%")
    }

    fn ring_scales(&self) -> [(&'static str, &'static str); 3] {
        SCALES
    }

    fn methods(&self) -> Vec<(&'static str, &'static str)> {
        Method::ALL.into_iter().map(|method| (method.code(), method.words())).collect()
    }

    /// The rows for sprues: those filled and one more, and the rest to be unfolded.
    fn rows(&self) -> Vec<std::ops::RangeInclusive<usize>> {
        let filled = |row: &usize| {
            ["x", "y", "z", "d", "l"].iter().any(|what| !self.sprue(what, row).is_empty())
        };
        let last = (1..=SPRUE_ROWS).filter(filled).max().unwrap_or(0);
        let open = (last + 1).clamp(2, SPRUE_ROWS);
        let mut rows = vec![1..=open];
        if open < SPRUE_ROWS {
            rows.push(open + 1..=SPRUE_ROWS);
        }
        rows
    }

    fn method_wrong(&self) -> bool {
        ["vacuum_kpa", "turns_per_min", "arm_mm"]
            .iter()
            .any(|name| self.casting.error(name).is_some())
    }

    fn sprue_error(&self, row: &usize) -> Option<&str> {
        ["x", "y", "z", "d", "l"]
            .iter()
            .find_map(|what| self.casting.error(&format!("{what}{row}")))
    }

    fn sprue(&self, what: &str, row: &usize) -> &str {
        self.casting.value(&format!("{what}{row}"))
    }
}

#[derive(Default, Deserialize)]
pub(crate) struct Wanted {
    version: Option<i32>,
    #[serde(flatten)]
    ring: Asked,
}

/// The forms of the page, when one of them comes back.
#[derive(Default)]
pub(super) struct Forms {
    pub(super) details: Option<Form>,
    pub(super) upload: Form,
    pub(super) unit: Form,
    pub(super) casting: Option<Form>,
    pub(super) ring: Asked,
    pub(super) repair: Form,
}

pub(super) async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    wanted: Option<i32>,
    forms: Forms,
) -> Result<ShowDesign, Fault> {
    let design = view::load(&app.pool, number).await?;
    let versions = view::versions(&app.pool, design.id).await?;
    let version = match wanted {
        Some(n) => versions.iter().find(|version| version.n == n),
        None => versions.first(),
    };
    let version = version.cloned().ok_or(Fault::NotFound)?;
    let frame = signed.frame.clone();
    let mut weights = Vec::new();
    if let (Some(volume), Some(_)) = (version.volume_mm3, &version.unit) {
        for alloy in weight::alloys(&app.pool).await? {
            if let Ok(mass) = weight::weigh(volume, alloy.density_g_cm3, &alloy.source) {
                let figure = frame.show.grams(mass.value.get());
                weights.push((alloy.name, working_of(&figure, &mass.working)));
            }
        }
    }
    let form = forms.details.unwrap_or_else(|| {
        Form::filled([
            ("name", design.name.clone()),
            ("client", design.client_id.map(|id| id.to_string()).unwrap_or_default()),
            ("note", design.note.clone()),
        ])
    });
    let closer = Closer::read(&app.pool, version.id, change::box_of(&version)).await?;
    let mut beside = Vec::new();
    if let Some(closer) = &closer {
        let mut conn = app.pool.acquire().await?;
        for said in closer.said() {
            beside.push(forecasts::beside(&mut conn, &said, &closer.limits, version.id).await?);
        }
    }
    let resin = view::usual_resin(&app.pool).await?;
    let ring = closer.as_ref().and_then(|closer| {
        let bore = closer.look.there()?.examined.bore.as_ref()?;
        Some(Ring::of(bore, closer.alloy.as_ref(), resin.as_ref(), forms.ring, &frame.show))
    });
    let change = match versions.iter().find(|other| other.n < version.n) {
        Some(before) => {
            Some(change::read(&app.pool, &frame.show, before, &version, closer.as_ref()).await?)
        }
        None => None,
    };
    let kept = closer.as_ref().and_then(|closer| closer.casting.as_ref());
    let casting = match (forms.casting, kept) {
        (Some(form), _) => form,
        (None, Some((casting, version))) => casting_filled(casting, *version),
        (None, None) => match analysis::usual_alloy(&app.pool).await? {
            Some(alloy) => casting_filled(&Casting::usual(&alloy), 0),
            None => Form::default(),
        },
    };
    let alloys = analysis::alloys(&app.pool).await?;
    Ok(ShowDesign {
        closer,
        beside,
        change,
        ring,
        casting,
        alloys: alloys.into_iter().map(|alloy| (alloy.id.to_string(), alloy.name)).collect(),
        frame,
        orders: view::orders_with(&app.pool, design.id).await?,
        clients: with_nobody(clients::choices(&app.pool).await?),
        design,
        version,
        versions,
        weights,
        form,
        upload: forms.upload,
        unit: forms.unit,
        repair: forms.repair,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    Query(wanted): Query<Wanted>,
) -> Result<ShowDesign, Fault> {
    let forms = Forms { ring: wanted.ring, ..Forms::default() };
    page(&app, &signed, number, wanted.version, forms).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(design) = DesignForm::read(&mut form) else {
        let forms = Forms { details: Some(form), ..Forms::default() };
        let page = page(&app, &signed, number, None, forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change(conn, &signed, number, &design, seen).await?;
            Ok(Design(number))
        })
        .await?;
    let forms = Forms { details: Some(form), ..Forms::default() };
    ended.or_show(page(&app, &signed, number, None, forms)).await
}
