//! One invoice: a draft to be written, or what was issued and what was paid for it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;
use foundry::working::Working;
use rust_decimal::Decimal;

use crate::id::InvoiceId;
use crate::invoices::forms::{self, Names};
use crate::invoices::opened::Opened;
use crate::invoices::store::{self, LineRow};
use crate::invoices::view::{self, HistoryRow, InvoiceRow, SettledRow, TaxRow};
use crate::invoices::{Account, Invoice, Invoices, InvoicesOfOrder, actions, payments};
use crate::people::{Owner, Signed};
use crate::prices::{self, Rate};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame, Html, Refused, working_of};

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
    /// The studio's currency.
    own: String,
    /// The price book's rate of the day, where the draft is booked at another.
    newer: Option<Rate>,
}

impl ShowInvoice {
    /// Whether the draft may be put in another currency: nothing binds it to one.
    fn is_free(&self) -> bool {
        !self.invoice.is_credit() && self.invoice.order_number.is_none()
    }

    /// Whether the draft asks for a rate.
    fn asks_rate(&self) -> bool {
        !self.invoice.is_credit() && (self.is_free() || self.invoice.currency != self.own)
    }

    fn rate_label(&self) -> String {
        format!("One {} buys", self.own)
    }

    fn asks_if_meant(&self) -> bool {
        self.form.error("currency_meant").is_some() || self.form.ticked("currency_meant")
    }

    fn money_is_open(&self) -> bool {
        self.invoice.currency != self.own
            || self.asks_if_meant()
            || ["currency", "rate", "rate_on"].iter().any(|name| self.form.error(name).is_some())
    }

    fn opened(&self) -> Opened<'_> {
        Opened { invoice: &self.invoice, lines: &self.lines }
    }

    fn money(&self, amount: &Decimal, working: &Working) -> Html {
        working_of(&self.frame.show.money_in(*amount, &self.invoice.currency), working)
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
    let form = form.unwrap_or_else(|| {
        let mut form = forms::filled(&lines, invoice.due_days, &invoice.note, &usual);
        form.put("currency", &invoice.currency);
        if let (Some(rate), Some(on)) = (invoice.booked_rate, invoice.booked_on) {
            form.put("rate", &rate.normalize().to_string());
            form.put("rate_on", &on.to_string());
        }
        form
    });
    let today = signed.now.day_in(&signed.frame.show.zone);
    let newer = match (&invoice.booked_in, invoice.is_draft() && !invoice.is_credit()) {
        (Some(own), true) => prices::rate(&app.pool, own, &invoice.currency, today).await?,
        _ => None,
    };
    let newer = newer.filter(|newer| Some(newer.rate) != invoice.booked_rate);
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
        own: settings.currency,
        newer,
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
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let draft = actions::credit(conn, &signed, id).await?;
            Ok(Invoice(draft))
        })
        .await?;
    ended.or_tell(|refused| refusing(&app, &signed, id, refused)).await
}

pub(crate) async fn use_credit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            payments::use_credit(conn, &signed, id).await?;
            Ok(Invoice(id))
        })
        .await?;
    ended.or_tell(|refused| refusing(&app, &signed, id, refused)).await
}

/// The invoice as it is, with what stands in the way.
pub(super) async fn refusing(
    app: &App,
    signed: &Signed,
    id: InvoiceId,
    refused: Refused,
) -> Result<ShowInvoice, Fault> {
    let mut page = page(app, signed, id, None).await?;
    page.form.refuse(&refused);
    Ok(page)
}
