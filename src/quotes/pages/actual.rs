//! What an order was quoted and what it took, and what to change because of it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use uuid::Uuid;

use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::quotes::actual;
use crate::quotes::compare::{self, OfLine};
use crate::quotes::paths::Actual;
use crate::quotes::starts::{self, Proposal, Start, Taken};
use crate::quotes::{Quotes, view};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame, Html, Refused, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/actual.html")]
pub(crate) struct ActualPage {
    frame: Frame,
    order: OrderRow,
    quote: Option<i32>,
    currency: String,
    lines: Vec<OfLine>,
    changes: Vec<Taken>,
    form: Form,
}

impl ActualPage {
    fn more(&self) -> Decimal {
        self.lines.iter().map(OfLine::more).sum()
    }

    /// What was taken more than quoted, as a figure that opens into its parts.
    fn more_opened(&self) -> Html {
        let figure = self.frame.show.money_in(self.more().abs(), &self.currency);
        let money = |name: String, amount| {
            Figure::exact(name, amount, self.currency.clone(), Source::Computed)
        };
        let mut working = Working::default();
        let mut each = Vec::new();
        for line in &self.lines {
            for cost in line.costs.iter().filter(|cost| cost.taken.is_some_and(|it| it.measured)) {
                each.push(money(format!("{}: {}", line.name, cost.what), cost.more()));
            }
        }
        working.step("sum of what was measured", each, money("more".to_owned(), self.more()));
        working_of(&figure, &working)
    }

    /// The part of the quoted cost that was measured.
    fn measured_share(&self) -> Decimal {
        let quoted: Decimal = self.lines.iter().map(OfLine::quoted).sum();
        let held: Decimal = self.lines.iter().map(OfLine::held_against).sum();
        held.checked_div(quoted).unwrap_or_default()
    }

    fn open(&self) -> i64 {
        self.lines.iter().map(|line| line.taken.open).sum()
    }

    fn measured(&self) -> bool {
        self.lines.iter().any(OfLine::measured)
    }

    /// Whether a proposal was taken over and stands.
    fn stands(&self, proposal: &Proposal) -> bool {
        self.changes.iter().any(|change| {
            change.reversed_at.is_none()
                && change.what == proposal.what
                && change.item == proposal.item
                && change.after == proposal.after
        })
    }
}

/// The quote that was agreed, with each of its lines held against what was recorded.
async fn compared(
    app: &App,
    order: &OrderRow,
) -> Result<(Option<(i32, String)>, Vec<OfLine>), Fault> {
    let accepted =
        view::standing(&app.pool, order.id).await?.filter(|quote| quote.state == "accepted");
    let Some(quote) = accepted else { return Ok((None, Vec::new())) };
    let taken = actual::taken(&app.pool, order.id).await?;
    let rows = orders::lines(&app.pool, order.id).await?;
    let content = &quote.content.0;
    let mut lines = Vec::new();
    for line in &content.lines {
        if let Some(taken) = taken.iter().find(|taken| taken.n == line.n) {
            let design = rows.iter().find(|row| row.n == line.n).map(|row| row.design_number);
            lines.push(compare::compare(content, line, design, taken.clone()));
        }
    }
    Ok((Some((quote.n, content.currency.clone())), lines))
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<ActualPage, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let (quote, lines) = compared(app, &order).await?;
    let changes = starts::of_order(&app.pool, order.id).await?;
    let (quote, currency) = match quote {
        Some((n, currency)) => (Some(n), currency),
        None => (None, Settings::load(&app.pool).await?.currency),
    };
    Ok(ActualPage { frame: signed.frame.clone(), order, quote, currency, lines, changes, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<ActualPage, Fault> {
    page(&app, &signed, number, Form::default()).await
}

pub(crate) async fn take(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let what: Start = form.value("what").parse().map_err(|()| Fault::NotFound)?;
    let order = orders::load(&app.pool, number).await?;
    // What was on the page must still be what follows from the records.
    let (_, lines) = compared(&app, &order).await?;
    let proposal =
        lines.into_iter().flat_map(|line| line.advice).filter_map(|advice| advice.proposal).find(
            |known| {
                known.what == what
                    && known.item == form.value("item")
                    && known.after.normalize().to_string() == form.value("after")
            },
        );
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let proposal = proposal.ok_or_else(|| Refused::stale("what was recorded"))?;
            starts::take(conn, &signed, order.id, &proposal).await?;
            Ok(Actual(number))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, form)).await
}

pub(crate) async fn give_back(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((number, change)): Path<(i32, Uuid)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            starts::give_back(conn, &signed, order.id, change).await?;
            Ok(Actual(number))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, form)).await
}
