//! Alloying a melt up or down with what is in stock, and posting it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::AlloyId;
use crate::metal::forms::MeltForm;
use crate::metal::fumes::{Fume, fumes};
use crate::metal::melt::{self, PRECIOUS, STEPS, Stocked, Way, Wish};
use crate::metal::{EntryPage, MeltPage, MetalPage, actions, stock};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "metal/melt.html")]
pub(crate) struct ShowMelt {
    frame: Frame,
    stock: Vec<Stocked>,
    form: Form,
    ways: Vec<Way>,
    /// Ways that would bring in a metal which does not belong there.
    strange: Vec<Way>,
    none: Option<String>,
    refusal: Option<String>,
    /// What the alloys of these ways give off, each with their names.
    fumes: Vec<(&'static Fume, String)>,
    /// When less is in stock than was said to be in hand: what there is.
    short: Option<i64>,
}

impl ShowMelt {
    fn alloys(&self) -> Vec<(AlloyId, String)> {
        self.stock
            .iter()
            .map(|alloy| {
                let (fresh, returns) = (alloy.fresh as f64 / 100.0, alloy.returns as f64 / 100.0);
                (alloy.id, format!("{}, {fresh:.2} g fresh, {returns:.2} g returns", alloy.name))
            })
            .collect()
    }

    fn names(&self) -> Vec<(AlloyId, String)> {
        self.stock.iter().map(|alloy| (alloy.id, alloy.name.clone())).collect()
    }

    fn metals(&self) -> Vec<(&'static str, &'static str)> {
        PRECIOUS.iter().map(|metal| (metal.element().symbol(), metal.element().name())).collect()
    }

    fn steps(&self) -> [(&'static str, &'static str); 3] {
        STEPS
    }

    fn add(&self, way: &Way) -> Html {
        working_of(&self.frame.show.centigrams(way.add_cg()), &way.weighed.working)
    }

    fn exact(&self, way: &Way) -> String {
        way.weighed.value.exact.add.round_dp(4).normalize().to_string()
    }

    fn reached(&self, way: &Way) -> String {
        way.reached().round_dp(2).normalize().to_string()
    }

    fn enough_for(&self, way: &Way) -> Option<String> {
        way.enough_for.as_ref().map(|most| most.value.to_string())
    }

    /// The form that posts a way, with the alloy it makes chosen.
    fn post(&self, way: &Way) -> Form {
        let into = way.into.map(|id| id.to_string()).unwrap_or_default();
        let total = format!("{:.2}", way.total_cg() as f64 / 100.0);
        Form::filled([("into", into), ("after", total)])
    }
}

async fn page(app: &App, signed: &Signed, mut form: Form, fresh: bool) -> Result<ShowMelt, Fault> {
    let stock = stock::stocked(&app.pool).await?;
    let (mut ways, mut strange, mut none, mut short) = (Vec::new(), Vec::new(), None, None);
    if !fresh && let Some(wish) = Wish::read(&mut form) {
        short = melt::short(&stock, &wish);
        match melt::ways(&stock, &wish) {
            Ok(found) => {
                (ways, strange) = found.into_iter().partition(|way| way.foreign.is_empty());
            }
            Err(refusal) => none = Some(refusal.0),
        }
    }
    let in_hand: Option<AlloyId> = form.value("alloy").parse().ok();
    let melted: Vec<AlloyId> = ways.iter().map(|way| way.with).chain(in_hand).collect();
    let fumes = fumes(&app.pool, &melted).await?;
    let frame = signed.frame.clone();
    Ok(ShowMelt { frame, stock, form, ways, strange, none, refusal: None, fumes, short })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<ShowMelt, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    if form.value("alloy").is_empty() && form.value("grams").is_empty() {
        let mut form = form;
        form.set("metal", "Ag");
        form.set("target", "925");
        form.set("step", "0.01");
        return page(&app, &signed, form, true).await;
    }
    page(&app, &signed, form, false).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(melted) = MeltForm::read(&mut form) else {
        let why = ["into", "after", "with", "add", "grams", "alloy"]
            .iter()
            .find_map(|field| form.error(field).map(str::to_owned));
        let mut page = page(&app, &signed, form, false).await?;
        page.refusal = why;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    // The ways shown again are worked out from what was sent, in which nothing was wrong.
    let sent = form.clone();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let batch = actions::melt(conn, &signed, &melted).await?;
            Ok(EntryPage(batch))
        })
        .await?;
    ended
        .or_tell(async |refused| {
            let mut page = page(&app, &signed, sent, false).await?;
            page.refusal = Some(refused.message);
            Ok(page)
        })
        .await
}
