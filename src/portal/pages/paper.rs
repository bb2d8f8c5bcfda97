//! The quote on paper, for the client and for the studio.

use axum::extract::{Path, State};
use axum::response::Response;

use crate::invoices;
use crate::orders::{self, OrderRow};
use crate::paper::{self, Block, Column, Paper, Size, Table};
use crate::people::Owner;
use crate::portal::guest::{Guest, Turned};
use crate::quotes::{self, QuoteRow};
use crate::web::{App, Fault, Show};

/// For the client, from their page.
pub(crate) async fn for_client(State(app): State<App>, guest: Guest) -> Result<Response, Turned> {
    let quote = quotes::standing(&app.pool, guest.order.id).await?.ok_or(Turned::Away)?;
    Ok(answer(&app, &guest.order, &quote, &guest.show, &guest.studio).await?)
}

/// For the owner: the quote that stands.
pub(crate) async fn for_owner(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<Response, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let quote = quotes::standing(&app.pool, order.id).await?.ok_or(Fault::NotFound)?;
    answer(&app, &order, &quote, &signed.frame.show, &signed.frame.studio).await
}

async fn answer(
    app: &App,
    order: &OrderRow,
    quote: &QuoteRow,
    show: &Show,
    studio: &str,
) -> Result<Response, Fault> {
    let (address, size) = invoices::letterhead(&app.pool).await?;
    let paper = quote_paper(order, quote, show, size, (studio, &address));
    let bytes = paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(paper::answer(&format!("quote-{}-{}.pdf", order.number, quote.n), bytes))
}

fn quote_paper(
    order: &OrderRow,
    quote: &QuoteRow,
    show: &Show,
    size: Size,
    (studio, address): (&str, &str),
) -> Paper {
    let content = &quote.content.0;
    let money = |amount| show.money_text(amount, &content.currency);
    let mut left = vec![studio.to_owned()];
    left.extend(address.lines().map(str::to_owned));
    let mut facts = vec![
        ("Order".to_owned(), format!("{}, {}", order.number, order.title)),
        ("Holds until".to_owned(), show.day_text(quote.valid_until)),
    ];
    if let Some(day) = quote.ready_by {
        facts.push(("Ready by".to_owned(), show.day_text(day)));
    }
    let taxes_differ = content.taxes_differ();
    let rows = content
        .lines
        .iter()
        .map(|line| {
            let tax = content.tax_of(line);
            let mut words = line.words();
            if taxes_differ {
                words = format!("{words}, {} {} %", tax.name, tax.percent.normalize());
            }
            vec![
                words,
                line.quantity.to_string(),
                match line.alloy.as_str() {
                    "" => String::new(),
                    _ => show.grams(line.weight_g).plain_text(),
                },
                line.unit_price.map(money).unwrap_or_default(),
                money(line.amounts.list),
            ]
        })
        .collect();
    let columns = vec![
        Column::words("What", 3.2),
        Column::figures("Pieces", 0.8),
        Column::figures("About, each", 1.2),
        Column::figures("Each", 1.5),
        Column::figures("Together", 1.5),
    ];
    let mut blocks =
        vec![Block::Parties { left, right: vec![order.client.clone()] }, Block::Facts(facts)];
    if !quote.message.is_empty() {
        blocks.push(Block::Text(quote.message.clone()));
    }
    blocks.push(Block::Table(Table { columns, rows }));
    let mut sums = Vec::new();
    if !content.totals.discount.is_zero() {
        sums.push(("Discount".to_owned(), money(-content.totals.discount)));
    }
    sums.push(("Net".to_owned(), money(content.totals.net)));
    sums.extend(content.by_tax().into_iter().map(|sum| {
        let name = format!("{} {} %", sum.tax.name, sum.tax.percent.normalize());
        let name = if taxes_differ { format!("{name} on {}", money(sum.net)) } else { name };
        (name, money(sum.amount))
    }));
    sums.push(("Total".to_owned(), money(content.totals.gross)));
    blocks.push(Block::Sums(sums));
    blocks.push(Block::Small(content.tax_rule()));
    if !content.deposit.is_zero() {
        let words = format!(
            "{} of it as a deposit before work begins, {} afterwards.",
            money(content.deposit),
            money(content.balance)
        );
        blocks.push(Block::Text(words));
    }
    let accepted = quote.state == "accepted";
    if let Some(words) = content.metal_words(accepted, &show.day_text(quote.valid_until)) {
        blocks.push(Block::Text(words));
    }
    if !content.options.is_empty() && content.chosen.is_none() && quote.state == "sent" {
        blocks.push(Block::Heading("Other ways to make it".to_owned()));
        let rows = content
            .options
            .iter()
            .map(|option| vec![option.words(), money(option.totals.gross)])
            .collect();
        let columns = vec![Column::words("Way", 3.0), Column::figures("Total", 1.0)];
        blocks.push(Block::Table(Table { columns, rows }));
    }
    if let (Some(name), Some(at)) = (&quote.answered_name, quote.answered_at)
        && quote.state == "accepted"
    {
        blocks.push(Block::Text(format!("{name} said yes on {}.", show.moment_text(at))));
    }
    blocks.push(Block::Small("Weights are reckoned from the models.".to_owned()));
    let title = format!("Quote {} for order {}", quote.n, order.number);
    Paper { size, studio: studio.to_owned(), title, blocks }
}
