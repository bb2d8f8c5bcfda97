//! The demo's money and words: invoices, payments, letters, questions.

use super::DemoFault;
use super::hands::Hands;
use super::story::Calendar;
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

/// An order by its number and its client's page.
pub(super) type Known = (i32, String);

impl Desk<'_> {
    fn at(&self, days_ago: i32, hour: i8) {
        self.clock.set(self.calendar.ago(days_ago, hour, 20).min(self.now));
    }

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
        let page = format!("/clients/{client}/account");
        let fields = [("amount", amount.as_str()), ("method", "Bank")];
        self.owner.fill(&page, &format!("/clients/{client}/payments"), &fields).await?;
        Ok(())
    }

    /// A month of invoices, in the order of their days. `done` are handed over, `made` are being made.
    pub(super) async fn month(&self, done: &[Known], made: &[Known]) -> Result<(), DemoFault> {
        self.at(36, 9);
        self.open().await?;
        let mut deposits = Vec::new();
        // The day after each yes, as the story tells it.
        for ((number, _), days_ago) in done.iter().zip([33, 32, 32, 20, 19]) {
            self.at(days_ago, 9);
            let deposit = self.invoice(*number, "deposit").await?;
            deposits.push((*number, deposit));
        }
        for (number, deposit) in &deposits {
            self.at(18, 10);
            self.pay(*number, deposit, 100).await?;
        }
        for (nth, (number, _)) in done.iter().enumerate() {
            self.at(if nth < 3 { 16 } else { 8 }, 9);
            let rest = self.invoice(*number, "rest").await?;
            // The first is overdue, the second is paid in part, the others are paid.
            match nth {
                0 => {}
                1 => self.pay(*number, &rest, 40).await?,
                _ => self.pay(*number, &rest, 100).await?,
            }
        }
        for (nth, (number, _)) in made.iter().enumerate() {
            self.at(6, 9);
            let deposit = self.invoice(*number, "deposit").await?;
            if nth % 2 == 0 {
                self.at(3, 9);
                self.pay(*number, &deposit, 100).await?;
            }
        }
        Ok(())
    }

    /// Two clients ask; one is answered.
    pub(super) async fn questions(&self, asked: &Known, waiting: &Known) -> Result<(), DemoFault> {
        self.at(4, 12);
        let (number, link) = asked;
        let question = [("question", "Could the inside be left as it was cast?")];
        self.client.fill(link, &format!("{link}/ask"), &question).await?;
        self.at(4, 14);
        let page = format!("/orders/{number}/questions");
        let answer =
            [("answer", "Yes. We polish the outside only, then; it does not change the price.")];
        self.owner.fill(&page, &page, &answer).await?;
        self.at(1, 17);
        let (_, link) = waiting;
        let question = [("question", "May I fetch it on Saturday?")];
        self.client.fill(link, &format!("{link}/ask"), &question).await?;
        Ok(())
    }
}
