//! All entries of the ledger, the latest first.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::id::AlloyId;
use crate::metal::view::{self, EntryRow, Filter};
use crate::metal::{EntriesPage, EntryPage, Kind, MetalPage};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, PageLinks, Turned};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "metal/entries.html")]
pub(crate) struct Entries {
    frame: Frame,
    alloys: Vec<(AlloyId, String)>,
    entries: Vec<EntryRow>,
    filtered: bool,
    form: Form,
    links: PageLinks,
}

impl Entries {
    fn kinds(&self) -> Vec<(&'static str, &'static str)> {
        Kind::ALL.into_iter().map(Kind::word).chain(["reversed"]).map(|word| (word, word)).collect()
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    alloy: String,
    #[serde(default)]
    kind: String,
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Entries, Fault> {
    let filter = Filter {
        alloy: wanted.alloy.parse().ok(),
        kind: Some(wanted.kind.clone()).filter(|kind| !kind.is_empty()),
    };
    let page = view::entries(&app.pool, &filter, &wanted.turned, SIZE).await?;
    let base = PageLinks::base(
        &EntriesPage.to_string(),
        &[("alloy", &wanted.alloy), ("kind", &wanted.kind)],
    );
    Ok(Entries {
        frame: signed.frame,
        alloys: view::choices(&app.pool).await?,
        links: page.links(&base),
        entries: page.rows,
        filtered: filter.alloy.is_some() || filter.kind.is_some(),
        form: Form::filled([("alloy", wanted.alloy), ("kind", wanted.kind)]),
    })
}
