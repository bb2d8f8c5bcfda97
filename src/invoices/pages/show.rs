//! One invoice: a draft to be written, or what was issued and what was paid for it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;

use crate::db::once::{self, Begun};
use crate::id::InvoiceId;
use crate::invoices::forms::{self, Names};
use crate::invoices::store::{self, LineRow};
use crate::invoices::view::{self, HistoryRow, InvoiceRow, SettledRow, TaxRow};
use crate::invoices::{Account, Invoice, Invoices, InvoicesOfOrder, actions};
use crate::people::{Owner, Signed};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame, Refused, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "invoices/show.html")]
pub(crate) struct ShowInvoice {
    frame: Frame,
    invoice: InvoiceRow,
    lines: Vec<LineRow>,
    taxes: Vec<TaxRow>,
    settled: Vec<SettledRow>,
    notes: Vec<InvoiceRow>,
    history: Vec<HistoryRow>,
    credit: Decimal,
    /// The fields of each line, with what it came to when it was saved.
    names: Vec<(Names, Option<Decimal>)>,
    form: Form,
    studio_has_address: bool,
}

impl ShowInvoice {
    pub(super) fn refuse(&mut self, refused: &Refused) {
        self.form.refuse(refused);
    }

    fn with_discount(&self) -> bool {
        self.lines.iter().any(|line| !line.discount.is_zero())
    }

    fn overdue(&self) -> bool {
        !self.invoice.is_credit()
            && !self.invoice.open().is_zero()
            && self.invoice.due_on.is_some_and(|due| self.frame.show.past(due))
    }
}

pub(super) async fn page(
    app: &App,
    signed: &Signed,
    id: InvoiceId,
    form: Option<Form>,
) -> Result<ShowInvoice, Fault> {
    let invoice = view::load(&app.pool, id).await?;
    let lines = store::lines(&app.pool, id).await?;
    let settings = Settings::load(&app.pool).await?;
    let usual = if settings.tax_rate.is_zero() {
        String::new()
    } else {
        let percent = (settings.tax_rate * Decimal::ONE_HUNDRED).normalize();
        format!("{} {percent}", settings.tax_name)
    };
    let form =
        form.unwrap_or_else(|| forms::filled(&lines, invoice.due_days, &invoice.note, &usual));
    let shown = form.value("rows").parse::<usize>().unwrap_or(0).min(forms::MOST_LINES);
    Ok(ShowInvoice {
        frame: signed.frame.clone(),
        taxes: view::taxes(&app.pool, id).await?,
        settled: view::settled(&app.pool, id).await?,
        notes: view::correcting(&app.pool, id).await?,
        history: view::history(&app.pool, id).await?,
        credit: view::credit(&app.pool, invoice.client_id, &invoice.currency).await?,
        names: (1..=shown)
            .map(|n| (Names::of(n), lines.get(n - 1).map(|line| line.amount)))
            .collect(),
        studio_has_address: !store::invoicing(&app.pool).await?.address.is_empty(),
        invoice,
        lines,
        form,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
) -> Result<ShowInvoice, Fault> {
    page(&app, &signed, id, None).await
}

pub(crate) async fn credit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match actions::credit(&mut work.tx, &signed, id).await {
        Ok(draft) => {
            let place = Invoice(draft).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(fault) => refused(&app, &signed, id, fault).await,
    }
}

pub(crate) async fn use_credit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match actions::use_credit(&mut work.tx, &signed, id).await {
        Ok(()) => {
            let place = Invoice(id).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(fault) => refused(&app, &signed, id, fault).await,
    }
}

async fn refused(
    app: &App,
    signed: &Signed,
    id: InvoiceId,
    fault: Fault,
) -> Result<Response, Fault> {
    let Fault::Refused(refused) = fault else { return Err(fault) };
    let mut page = page(app, signed, id, None).await?;
    page.refuse(&refused);
    Ok((refused.status, page).into_response())
}
