//! All entries of the ledger, the latest first.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::id::AlloyId;
use crate::metal::entries::{self, EntryRow, Filter};
use crate::metal::model::Account;
use crate::metal::view;
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
    /// The account that is followed, in words.
    account: Option<(String, &'static str)>,
    form: Form,
    links: PageLinks,
}

impl Entries {
    fn accounts(&self) -> Vec<(&'static str, &'static str)> {
        let kinds = Account::KINDS.into_iter();
        kinds.map(|kind| (kind, Account::words(kind))).collect()
    }

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
    #[serde(default)]
    account: String,
    #[serde(default)]
    until: String,
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Entries, Fault> {
    let mut form = Form::filled([
        ("alloy", wanted.alloy.clone()),
        ("kind", wanted.kind.clone()),
        ("account", wanted.account.clone()),
        ("until", wanted.until.clone()),
    ]);
    let until = form.day_or_none("until");
    let filter = Filter {
        alloy: wanted.alloy.parse().ok(),
        kind: Some(wanted.kind.clone()).filter(|kind| !kind.is_empty()),
        account: Some(wanted.account.clone()).filter(|account| !account.is_empty()),
        before: until.map(|day| day.plus_days(1).start_in(&signed.frame.show.zone)),
    };
    let page = entries::entries(&app.pool, &filter, &wanted.turned, SIZE).await?;
    let base = PageLinks::base(
        &EntriesPage.to_string(),
        &[
            ("alloy", &wanted.alloy),
            ("kind", &wanted.kind),
            ("account", &wanted.account),
            ("until", &wanted.until),
        ],
    );
    let alloys = view::choices(&app.pool).await?;
    let followed = page.rows.iter().any(|row| row.stood.is_some());
    let account = filter.alloy.filter(|_| followed).map(|id| {
        let name = alloys.iter().find(|(alloy, _)| *alloy == id);
        let name = name.map(|(_, name)| name.clone()).unwrap_or_default();
        (name, Account::words(&wanted.account))
    });
    Ok(Entries {
        frame: signed.frame,
        alloys,
        links: page.links(&base),
        entries: page.rows,
        filtered: filter.narrows(),
        account,
        form,
    })
}
