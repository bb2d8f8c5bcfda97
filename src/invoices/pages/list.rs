//! All invoices: what is to be paid, what is overdue, drafts.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::clients;
use crate::invoices::view::{self, InvoiceRow, Owed, Which};
use crate::invoices::{Account, Invoice, Invoices};
use crate::people::Owner;
use crate::web::{App, Fault, Form, Frame, PageLinks, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "invoices/list.html")]
pub(crate) struct ListInvoices {
    frame: Frame,
    which: Which,
    search: String,
    invoices: Vec<InvoiceRow>,
    owed: Vec<Owed>,
    clients: Vec<(String, String)>,
    form: Form,
    links: PageLinks,
}

impl ListInvoices {
    fn chosen(&self, which: &Which) -> bool {
        self.which == *which
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    show: String,
    #[serde(default)]
    search: String,
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Query(wanted): Query<Wanted>,
) -> Result<ListInvoices, Fault> {
    let search = wanted.search.trim().to_owned();
    let named = Which::ALL.into_iter().find(|(_, name, _)| *name == wanted.show);
    // Whoever searches looks everywhere.
    let which =
        named.map_or(if search.is_empty() { Which::Open } else { Which::All }, |found| found.0);
    let today = signed.now.day_in(&signed.frame.show.zone);
    let page = view::list(&app.pool, which, &search, today, (&wanted.turned, SIZE)).await?;
    let base =
        PageLinks::base(&Invoices.to_string(), &[("show", &wanted.show), ("search", &search)]);
    let clients = clients::choices(&app.pool).await?;
    Ok(ListInvoices {
        owed: view::owed(&app.pool, today).await?,
        clients: clients.into_iter().map(|(id, name)| (id.to_string(), name)).collect(),
        frame: signed.frame,
        which,
        search,
        links: page.links(&base),
        invoices: page.rows,
        form: Form::default(),
    })
}
