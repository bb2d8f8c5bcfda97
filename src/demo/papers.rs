//! The demo's money and words: invoices, payments, letters, questions.

use std::collections::HashMap;

use super::DemoFault;
use super::calendar::Calendar;
use super::hands::Hands;
use crate::clock::{Clock, Moment};
use sqlx::PgPool;

/// Whoever writes papers in the demo.
pub(super) struct Desk<'a> {
    pub(super) pool: &'a PgPool,
    pub(super) clock: &'a Clock,
    pub(super) owner: &'a Hands,
    pub(super) client: &'a Hands,
    pub(super) calendar: &'a Calendar,
    pub(super) now: Moment,
}

/// What is written about an order, and what is paid of it in per cent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Paper {
    Deposit,
    Rest,
    Paid(&'static str, i32),
}

/// Orders after this one have no invoice yet.
const LAST_INVOICED: i32 = 1019;
/// Its deposit was asked for and is not there.
const DEPOSIT_OPEN: i32 = 1017;
/// Its rest is overdue.
const OVERDUE: i32 = 1008;
/// Of its rest a part was paid.
const PAID_IN_PART: i32 = 1006;
/// Its client asked and was answered.
const ASKED: i32 = 1015;
/// Its client asks and waits for an answer.
const ASKS: i32 = 1016;

impl Desk<'_> {
    /// What stands on invoices, told once.
    pub(super) async fn open(&self) -> Result<(), DemoFault> {
        let fields = [
            ("address", "Harrow Lane 12\n1100-148 Lisbon"),
            ("tax_number", "Tax no. 000 000 000 (invented)"),
            (
                "pay_to",
                "Please pay to account XX00 0000 0000 0000 (invented), with the number of the invoice.",
            ),
            ("invoice_prefix", "R"),
        ];
        self.owner.fill("/studio/invoicing", "/studio/invoicing", &fields).await?;
        Ok(())
    }

    /// Issues the invoice of a part of an order.
    async fn invoice(&self, number: i32, part: &str) -> Result<String, DemoFault> {
        let page = format!("/orders/{number}/invoices");
        let draft = self.owner.fill(&page, &page, &[("part", part)]).await?;
        self.owner.fill(&draft, &format!("{draft}/issue"), &[]).await?;
        Ok(draft)
    }

    async fn client_of(&self, number: i32) -> Result<String, DemoFault> {
        Ok(sqlx::query_scalar("SELECT client_id::text FROM orders WHERE number = $1")
            .bind(number)
            .fetch_one(self.pool)
            .await?)
    }

    /// What is owed on an invoice, or a share of it in per cent.
    async fn owed(&self, invoice: &str, percent: i32) -> Result<String, DemoFault> {
        let id = invoice.rsplit('/').next().unwrap_or_default();
        Ok(sqlx::query_scalar(
            "SELECT round((amount - settled) * $2 / 100, 2)::text FROM entry_balances WHERE entry_id = $1::uuid",
        )
        .bind(id)
        .bind(percent)
        .fetch_one(self.pool)
        .await?)
    }

    async fn pay(&self, number: i32, invoice: &str, percent: i32) -> Result<(), DemoFault> {
        let client = self.client_of(number).await?;
        let amount = self.owed(invoice, percent).await?;
        // What was paid before may have been more than what was owed then.
        if amount.trim_matches(['0', '.', '-']).is_empty() {
            return Ok(());
        }
        let page = format!("/clients/{client}/account");
        let fields = [("amount", amount.as_str()), ("method", "Bank")];
        self.owner.fill(&page, &format!("/clients/{client}/payments"), &fields).await?;
        Ok(())
    }

    /// Two months of invoices and payments, in the order of their days.
    pub(super) async fn two_months(&self) -> Result<(), DemoFault> {
        self.clock.set(self.calendar.on(45, 9, 20));
        self.open().await?;
        let agreed: Vec<(i32, Moment, Option<Moment>)> = sqlx::query_as(
            "SELECT number, agreed_at, closed_at FROM orders
             WHERE agreed_at IS NOT NULL AND number <= $1 ORDER BY number",
        )
        .bind(LAST_INVOICED)
        .fetch_all(self.pool)
        .await?;
        let mut papers = Vec::new();
        for (number, said_yes, handed_over) in agreed {
            let mut add = |from: Moment, days: i64, hour: i64, paper| {
                let at = from.plus_minutes(days * 1440 + (hour - 19) * 60);
                papers.push((self.calendar.next_open(at), number, paper));
            };
            add(said_yes, 1, 9, Paper::Deposit);
            if number != DEPOSIT_OPEN {
                add(said_yes, 4, 10, Paper::Paid("deposit", 100));
            }
            let Some(handed_over) = handed_over else { continue };
            add(handed_over, 1, 17, Paper::Rest);
            match number {
                OVERDUE => {}
                PAID_IN_PART => add(handed_over, 6, 18, Paper::Paid("rest", 40)),
                _ => add(handed_over, 9, 18, Paper::Paid("rest", 100)),
            }
        }
        papers.sort();
        let mut issued = HashMap::new();
        for (at, number, paper) in papers.into_iter().filter(|(at, ..)| *at < self.now) {
            self.clock.set(at);
            match paper {
                Paper::Deposit => {
                    issued.insert((number, "deposit"), self.invoice(number, "deposit").await?);
                }
                Paper::Rest => {
                    issued.insert((number, "rest"), self.invoice(number, "rest").await?);
                }
                Paper::Paid(part, percent) => {
                    if let Some(invoice) = issued.get(&(number, part)) {
                        self.pay(number, invoice, percent).await?;
                    }
                }
            }
        }
        Ok(())
    }

    /// The link that a client has to an order.
    async fn link(&self, number: i32) -> Result<String, DemoFault> {
        let shown = self.owner.open(&format!("/orders/{number}/quotes")).await?;
        client_link(&shown)
    }

    /// Two clients ask; one is answered.
    pub(super) async fn questions(&self) -> Result<(), DemoFault> {
        self.clock.set(self.calendar.on(4, 12, 20));
        let link = self.link(ASKED).await?;
        let question = [("question", "Could the inside be left as it was cast?")];
        self.client.fill(&link, &format!("{link}/ask"), &question).await?;
        self.clock.set(self.calendar.on(4, 14, 20));
        let page = format!("/orders/{ASKED}/questions");
        let answer =
            [("answer", "Yes. We polish the outside only, then; it does not change the price.")];
        self.owner.fill(&page, &page, &answer).await?;
        self.clock.set(self.calendar.on(1, 17, 20));
        let link = self.link(ASKS).await?;
        let question = [("question", "May I fetch it on Saturday?")];
        self.client.fill(&link, &format!("{link}/ask"), &question).await?;
        Ok(())
    }
}

/// The client's link on a page of an order's quotes.
pub(super) fn client_link(page: &str) -> Result<String, DemoFault> {
    let from =
        page.find("/c/").ok_or_else(|| DemoFault::Missing("the client's link".to_owned()))?;
    Ok(page[from..].chars().take_while(|c| !matches!(c, '"' | '<' | ' ' | '\n')).collect())
}
