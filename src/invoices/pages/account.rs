//! A client's account: the statement, and what is paid and given back.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::quantity::Currency;
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::clients::{Client, Clients};
use crate::clock::Day;
use crate::id::{ClientId, EntryId};
use crate::invoices::forms::{Money, PaymentForm};
use crate::invoices::statement::{self, Statement};
use crate::invoices::view::{self, ClientRow, Exchanged, Unpaid};
use crate::invoices::{Account, Invoices, payments, rates};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Html, Show, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "invoices/account.html")]
pub(crate) struct ShowAccount {
    frame: Frame,
    client: ClientRow,
    statements: Vec<Statement>,
    from: Option<Day>,
    to: Day,
    unpaid: Vec<Unpaid>,
    exchanged: Vec<Exchanged>,
    payment: Form,
    refund: Form,
    general: Form,
}

impl ShowAccount {
    /// What pays for what, to choose from.
    fn choices(&self) -> Vec<(String, String)> {
        let oldest = (String::new(), "the oldest first".to_owned());
        let each = self.unpaid.iter().map(|invoice| {
            let open = self.frame.show.money_text(invoice.open, &invoice.currency);
            (invoice.id.to_string(), format!("{}, {open} open", invoice.label))
        });
        std::iter::once(oldest).chain(each).collect()
    }

    /// Currencies that money may be noted in: those of the account, the studio's first.
    fn currencies(&self) -> Vec<(String, String)> {
        let own = &self.frame.show.units.currency;
        let others = self.statements.iter().map(|statement| &statement.currency);
        std::iter::once(own)
            .chain(others.filter(|code| *code != own))
            .map(|code| (code.clone(), code.clone()))
            .collect()
    }

    /// Whether the client has an account in another currency than the studio's.
    fn abroad(&self) -> bool {
        self.currencies().len() > 1
    }

    /// What changing the money of a statement came to, in each currency it is booked in.
    fn exchanged(&self, currency: &str) -> Vec<Gained> {
        let mut sums: Vec<Gained> = Vec::new();
        for each in self.exchanged.iter().filter(|each| each.currency == currency) {
            let own = &each.booked_in;
            let figure = |name, amount| Figure::exact(name, amount, own.clone(), Source::Computed);
            let input = figure(each.label.clone(), each.difference);
            match sums.iter_mut().find(|sum| sum.booked_in == *own) {
                Some(sum) => sum.add(each.difference, input),
                None => sums.push(Gained {
                    booked_in: own.clone(),
                    difference: each.difference,
                    parts: vec![input],
                }),
            }
        }
        sums.retain(|sum| !sum.difference.is_zero());
        sums
    }

    /// An amount of a statement that opens.
    fn money(&self, amount: &Decimal, statement: &Statement, working: &Working) -> Html {
        working_of(&self.frame.show.money_in(*amount, &statement.currency), working)
    }

    fn booked_label(&self) -> String {
        format!("That is, in {}", self.frame.show.units.currency)
    }

    /// Whether something can be given back.
    fn has_credit(&self) -> bool {
        self.statements.iter().any(|statement| !statement.credit.is_zero())
    }
}

/// What changing money came to; lost where it is below nothing.
struct Gained {
    booked_in: String,
    difference: Decimal,
    parts: Vec<Figure>,
}

impl Gained {
    fn add(&mut self, difference: Decimal, part: Figure) {
        self.difference += difference;
        self.parts.push(part);
    }

    /// The sum, which opens into what each invoice gained or lost.
    fn opened(&self, show: &Show) -> Html {
        let mut working = Working::default();
        let sum =
            Figure::exact("gained", self.difference, self.booked_in.clone(), Source::Computed);
        working.step("sum of what each invoice gained", self.parts.clone(), sum);
        working_of(&show.money_in(self.difference.abs(), &self.booked_in), &working)
    }
}

#[derive(Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    pub(super) from: String,
    #[serde(default)]
    pub(super) to: String,
    /// The invoice that a payment is to be noted for.
    #[serde(default)]
    pub(super) invoice: String,
}

#[derive(Default)]
struct Forms {
    payment: Option<Form>,
    refund: Option<Form>,
    general: Form,
}

async fn page(
    app: &App,
    signed: &Signed,
    id: ClientId,
    wanted: &Wanted,
    forms: Forms,
) -> Result<ShowAccount, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let day = |text: &str| text.trim().parse().ok().map(Day);
    let from = day(&wanted.from);
    let to = day(&wanted.to).unwrap_or(today);
    let client = view::client(&app.pool, id).await?;
    let entries = view::entries(&app.pool, id, to).await?;
    let unpaid = view::unpaid(&app.pool, id).await?;
    let fresh = || Form::filled([("on", today.to_string())]);
    let paying = || match unpaid.iter().find(|one| one.id.to_string() == wanted.invoice) {
        Some(one) => Form::filled([
            ("on", today.to_string()),
            ("invoice", one.id.to_string()),
            ("currency", one.currency.clone()),
        ]),
        None => fresh(),
    };
    let payment = forms.payment.unwrap_or_else(paying);
    Ok(ShowAccount {
        frame: signed.frame.clone(),
        client,
        statements: statement::of(entries, from, &signed.frame.show.units.currency),
        from,
        to,
        unpaid,
        exchanged: view::exchanged(&app.pool, id, to).await?,
        payment,
        refund: forms.refund.unwrap_or_else(fresh),
        general: forms.general,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    Query(wanted): Query<Wanted>,
) -> Result<ShowAccount, Fault> {
    page(&app, &signed, id, &wanted, Forms::default()).await
}

/// The currency in which money is noted, and the studio's.
async fn currencies(
    app: &App,
    signed: &Signed,
    id: ClientId,
    form: &mut Form,
) -> Result<(Currency, Currency), Fault> {
    let own = rates::currency(&signed.frame.show.units.currency)?;
    let known = view::currencies(&app.pool, id).await?;
    Ok((rates::money_of(form, own, &known)?, own))
}

pub(crate) async fn pay(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let (money, own) = currencies(&app, &signed, id, &mut form).await?;
    let Some(typed) = PaymentForm::read(&mut form, money, own, today) else {
        let forms = Forms { payment: Some(form), ..Forms::default() };
        let page = page(&app, &signed, id, &Wanted::default(), forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            payments::pay(conn, &signed, id, &typed).await?;
            Ok(Account(id))
        })
        .await?;
    let forms = Forms { payment: Some(form), ..Forms::default() };
    ended.or_show(page(&app, &signed, id, &Wanted::default(), forms)).await
}

pub(crate) async fn refund(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let (currency, own) = currencies(&app, &signed, id, &mut form).await?;
    let Some(money) = Money::read(&mut form, currency, own, today) else {
        let forms = Forms { refund: Some(form), ..Forms::default() };
        let page = page(&app, &signed, id, &Wanted::default(), forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            payments::refund(conn, &signed, id, &money).await?;
            Ok(Account(id))
        })
        .await?;
    let forms = Forms { refund: Some(form), ..Forms::default() };
    ended.or_show(page(&app, &signed, id, &Wanted::default(), forms)).await
}

pub(crate) async fn reverse(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((id, entry)): Path<(ClientId, EntryId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            payments::reverse(conn, &signed, id, entry).await?;
            Ok(Account(id))
        })
        .await?;
    let forms = Forms { general: form, ..Forms::default() };
    ended.or_show(page(&app, &signed, id, &Wanted::default(), forms)).await
}
