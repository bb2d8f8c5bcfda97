//! What pages read about invoices and accounts.

use rust_decimal::Decimal;
use sqlx::types::Json;
use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{ClientId, EntryId, InvoiceId, OrderId};
use crate::quotes;
use crate::web::{Order, Paged, Show, Term, Turned};

/// An invoice or a credit note with its head.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct InvoiceRow {
    pub(crate) id: InvoiceId,
    pub(crate) kind: String,
    pub(crate) state: String,
    pub(crate) label: Option<String>,
    pub(crate) client_id: ClientId,
    pub(crate) client: String,
    pub(crate) order_number: Option<i32>,
    pub(crate) purpose: String,
    pub(crate) corrects: Option<InvoiceId>,
    pub(crate) corrects_label: Option<String>,
    pub(crate) currency: String,
    pub(crate) tax_inclusive: bool,
    pub(crate) tax_rounding: String,
    pub(crate) net: Decimal,
    pub(crate) total: Decimal,
    pub(crate) settled: Decimal,
    pub(crate) due_days: i32,
    pub(crate) note: String,
    pub(crate) issued_on: Option<Day>,
    pub(crate) due_on: Option<Day>,
    pub(crate) from_name: String,
    pub(crate) from_address: String,
    pub(crate) tax_number: String,
    pub(crate) pay_to: String,
    pub(crate) footer: String,
    pub(crate) to_name: String,
    pub(crate) to_address: String,
    pub(crate) version: i64,
    pub(crate) booked_in: Option<String>,
    pub(crate) booked_rate: Option<Decimal>,
    pub(crate) booked_on: Option<Day>,
    pub(crate) booked_net: Option<Decimal>,
    pub(crate) booked_total: Option<Decimal>,
}

impl InvoiceRow {
    /// How a document in another currency is booked in the studio's, in a sentence.
    pub(crate) fn booked_words(&self, show: &Show) -> Option<String> {
        let (own, rate, on) = (self.booked_in.as_ref()?, self.booked_rate?, self.booked_on?);
        let (net, total) = (self.booked_net?, self.booked_total?);
        Some(format!(
            "In {own} at the rate of {}, 1 {own} = {} {}: net {}, taxes {}, together {}.",
            show.day_text(on),
            rate.normalize(),
            self.currency,
            show.money_text(net, own),
            show.money_text(total - net, own),
            show.money_text(total, own)
        ))
    }

    /// What is still to be paid, or what of a credit is still to be used.
    pub(crate) fn open(&self) -> Decimal {
        self.total - self.settled
    }

    pub(crate) fn is_credit(&self) -> bool {
        self.kind == "credit_note"
    }

    pub(crate) fn is_draft(&self) -> bool {
        self.state == "draft"
    }

    /// What it is called: its number, or what it will be.
    pub(crate) fn title(&self) -> String {
        let kind = if self.is_credit() { "Credit note" } else { "Invoice" };
        match &self.label {
            Some(label) => format!("{kind} {label}"),
            None => format!(
                "Draft of {} {}",
                if self.is_credit() { "a" } else { "an" },
                kind.to_lowercase()
            ),
        }
    }

    /// How tax and rounding were reckoned, in a sentence for the page and the paper.
    pub(crate) fn tax_rule(&self) -> String {
        let shown = if self.tax_inclusive {
            "The prices of the lines contain the taxes."
        } else {
            "Taxes come on top of the prices of the lines."
        };
        let half = quotes::half_unit(&self.currency);
        let (where_to, shared) = if self.tax_rounding == "document" {
            ("once for each tax of the document", ", and shared out over the lines")
        } else {
            ("on each line", "")
        };
        let agreed = if self.order_number.is_some() {
            "; lines that come from a quote keep the tax agreed there"
        } else {
            ""
        };
        format!(
            "{shown} They are rounded {where_to} ({half} is rounded up){shared}{agreed}; the total is the sum of the lines."
        )
    }

    /// What it is about.
    pub(crate) fn about(&self) -> &'static str {
        match (self.kind.as_str(), self.purpose.as_str()) {
            ("credit_note", _) => "credit note",
            (_, "deposit") => "deposit",
            (_, "rest") => "order",
            _ => "invoice",
        }
    }
}

const HEAD: &str = "SELECT i.id, i.kind, i.state, i.label, i.client_id, c.name AS client, o.number AS order_number,
        i.purpose, i.corrects, k.label AS corrects_label, i.currency, i.tax_inclusive, i.tax_rounding, i.net, i.total,
        coalesce(b.settled, 0) AS settled, i.due_days, i.note, i.issued_on, i.due_on, i.from_name, i.from_address,
        i.tax_number, i.pay_to, i.footer, i.to_name, i.to_address, i.version, i.booked_in::text AS booked_in,
        i.booked_rate, i.booked_on, i.booked_net, i.booked_total
    FROM invoices i JOIN clients c ON c.id = i.client_id LEFT JOIN orders o ON o.id = i.order_id
    LEFT JOIN invoices k ON k.id = i.corrects LEFT JOIN entry_balances b ON b.entry_id = i.id";

/// What an invoice comes to in the studio's currency, when it is in another.
pub(super) async fn booked_total(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<Option<(String, Decimal)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT booked_in::text, booked_total FROM invoices WHERE id = $1 AND booked_in IS NOT NULL",
    )
    .bind(id)
    .fetch_optional(db)
    .await
}

pub(crate) async fn load(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<InvoiceRow, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{HEAD} WHERE i.id = $1")))
        .bind(id)
        .fetch_one(db)
        .await
}

/// Which invoices a list shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Which {
    All,
    Drafts,
    Open,
    Overdue,
}

impl Which {
    /// Each with its word in addresses and on the page.
    pub(super) const ALL: [(Self, &'static str, &'static str); 4] = [
        (Self::Open, "open", "To be paid"),
        (Self::Overdue, "overdue", "Overdue"),
        (Self::Drafts, "drafts", "Drafts"),
        (Self::All, "all", "All"),
    ];

    const fn condition(self) -> &'static str {
        match self {
            Self::All => "true",
            Self::Drafts => "i.state = 'draft'",
            Self::Open => "i.kind = 'invoice' AND b.settled < b.amount",
            Self::Overdue => "i.kind = 'invoice' AND b.settled < b.amount AND i.due_on < $2",
        }
    }
}

pub(super) async fn list(
    pool: &PgPool,
    which: Which,
    search: &str,
    today: Day,
    (turned, size): (&Turned, u32),
) -> Result<Paged<InvoiceRow>, sqlx::Error> {
    const BY_DUE: Order = Order {
        terms: &[
            Term::number("coalesce(i.due_on - date '2000-01-01', 1000000)"),
            Term::number("coalesce(i.number, 0)"),
            Term::id("i.id"),
        ],
        falling: false,
    };
    // Drafts, which have no day yet, come before everything.
    const BY_ISSUE: Order = Order {
        terms: &[
            Term::number("coalesce(i.issued_on - date '2000-01-01', 1000000)"),
            Term::moment("i.made_at"),
            Term::id("i.id"),
        ],
        falling: true,
    };
    let narrowed = format!(
        "WHERE {} AND $2::date IS NOT NULL
           AND ($1 = '' OR strpos(lower(coalesce(i.label, '') || ' ' || c.name || ' ' || coalesce(o.number::text, '')), lower($1)) > 0)",
        which.condition()
    );
    let order = match which {
        Which::Open | Which::Overdue => &BY_DUE,
        Which::All | Which::Drafts => &BY_ISSUE,
    };
    let seek = turned.in_order(order, size);
    let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "SELECT count(*) FROM invoices i JOIN clients c ON c.id = i.client_id LEFT JOIN orders o ON o.id = i.order_id
         LEFT JOIN entry_balances b ON b.entry_id = i.id {narrowed}"
    )))
    .bind(search)
    .bind(today)
    .fetch_one(pool)
    .await?;
    let head = HEAD.replacen("SELECT ", &format!("SELECT {}, ", seek.column()), 1);
    let found = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{head} {narrowed} AND {}{}",
        seek.beyond("$3"),
        seek.in_order()
    )))
    .bind(search)
    .bind(today)
    .bind(seek.key())
    .fetch_all(pool)
    .await?;
    Ok(seek.page(found, rows))
}

/// What is owed and what of it is overdue, by currency.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Owed {
    pub(super) currency: String,
    pub(super) open: Decimal,
    pub(super) overdue: Decimal,
}

pub(super) async fn owed(pool: &PgPool, today: Day) -> Result<Vec<Owed>, sqlx::Error> {
    sqlx::query_as(
        "SELECT i.currency, sum(b.amount - b.settled) AS open,
                coalesce(sum(b.amount - b.settled) FILTER (WHERE i.due_on < $1), 0) AS overdue
         FROM entry_balances b JOIN invoices i ON i.id = b.entry_id
         WHERE b.settled < b.amount AND i.kind = 'invoice' GROUP BY i.currency ORDER BY i.currency",
    )
    .bind(today)
    .fetch_all(pool)
    .await
}

pub(super) async fn of_order(
    pool: &PgPool,
    order: OrderId,
) -> Result<Vec<InvoiceRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{HEAD} WHERE i.order_id = $1 ORDER BY i.number NULLS LAST, i.made_at"
    )))
    .bind(order)
    .fetch_all(pool)
    .await
}

/// Credit notes of an invoice.
pub(super) async fn correcting(
    pool: &PgPool,
    id: InvoiceId,
) -> Result<Vec<InvoiceRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{HEAD} WHERE i.corrects = $1 ORDER BY i.made_at")))
        .bind(id)
        .fetch_all(pool)
        .await
}

/// A tax of a document.
#[derive(Clone, Debug, FromRow, serde::Deserialize)]
pub(crate) struct TaxRow {
    pub(crate) name: String,
    pub(crate) percent: Decimal,
    #[serde(default)]
    pub(crate) base: Decimal,
    pub(crate) amount: Decimal,
}

pub(crate) async fn taxes(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<Vec<TaxRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT name, percent, base, amount FROM invoice_taxes WHERE invoice_id = $1 ORDER BY n",
    )
    .bind(id)
    .fetch_all(db)
    .await
}

/// What of an invoice is not taken back by credit notes.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Left {
    pub(super) total: Decimal,
    pub(super) taxes: Json<Vec<TaxRow>>,
}

/// Totals of an invoice less those of its credit notes.
const LEFT: &str = "i.total - coalesce((SELECT sum(k.total) FROM invoices k WHERE k.corrects = i.id AND k.state = 'issued'), 0) AS total,
    i.net - coalesce((SELECT sum(k.net) FROM invoices k WHERE k.corrects = i.id AND k.state = 'issued'), 0) AS net,
    (SELECT coalesce(jsonb_agg(jsonb_build_object('name', x.name, 'percent', x.percent::text, 'base', x.base::text, 'amount', x.amount::text)), '[]')
     FROM (SELECT t.name, t.percent, sum(CASE WHEN t.invoice_id = i.id THEN t.amount ELSE -t.amount END) AS amount,
                  sum(CASE WHEN t.invoice_id = i.id THEN t.base ELSE -t.base END) AS base
           FROM invoice_taxes t JOIN invoices k ON k.id = t.invoice_id
           WHERE k.id = i.id OR (k.corrects = i.id AND k.state = 'issued') GROUP BY t.name, t.percent ORDER BY 1, 2) x) AS taxes";

pub(super) async fn left_of(db: impl PgExecutor<'_>, id: InvoiceId) -> Result<Left, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("SELECT {LEFT} FROM invoices i WHERE i.id = $1")))
        .bind(id)
        .fetch_one(db)
        .await
}

/// A deposit that was invoiced and that no invoice takes off yet.
#[derive(Clone, Debug, FromRow)]
pub(super) struct DepositRow {
    pub(super) id: InvoiceId,
    pub(super) label: String,
    pub(super) net: Decimal,
    pub(super) taxes: Json<Vec<TaxRow>>,
}

pub(super) async fn deposits(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<Vec<DepositRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "SELECT * FROM (SELECT i.id, i.label, i.number, {LEFT} FROM invoices i
         WHERE i.order_id = $1 AND i.kind = 'invoice' AND i.purpose = 'deposit' AND i.state = 'issued') x
         WHERE total <> 0 ORDER BY number"
    )))
    .bind(order)
    .fetch_all(db)
    .await
}

/// The invoice of an order for a purpose that is a draft, or issued and not taken back.
pub(super) async fn standing_for(
    db: impl PgExecutor<'_>,
    order: OrderId,
    purpose: &str,
) -> Result<Option<InvoiceId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT i.id FROM invoices i WHERE i.order_id = $1 AND i.purpose = $2 AND i.kind = 'invoice'
           AND NOT EXISTS (SELECT 1 FROM invoices k WHERE k.corrects = i.id AND k.state = 'issued'
                           HAVING sum(k.total) >= i.total)
         ORDER BY i.made_at LIMIT 1",
    )
    .bind(order)
    .bind(purpose)
    .fetch_optional(db)
    .await
}

/// Whether an order has a draft for a purpose.
pub(super) async fn draft_for(
    db: impl PgExecutor<'_>,
    order: OrderId,
    purpose: &str,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM invoices WHERE order_id = $1 AND purpose = $2 AND kind = 'invoice' AND state = 'draft')",
    )
    .bind(order)
    .bind(purpose)
    .fetch_one(db)
    .await
}

/// The invoice, or its draft, that takes a deposit off and is not taken back itself.
pub(super) async fn deducted_by(
    db: impl PgExecutor<'_>,
    deposit: InvoiceId,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT coalesce(i.label, 'draft') FROM invoice_lines l JOIN invoices i ON i.id = l.invoice_id
         WHERE l.deducts = $1 AND NOT EXISTS (SELECT 1 FROM invoices k WHERE k.corrects = i.id AND k.state = 'issued'
                                              HAVING sum(k.total) >= i.total) LIMIT 1",
    )
    .bind(deposit)
    .fetch_optional(db)
    .await
}

pub(super) async fn draft_correcting(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<Option<InvoiceId>, sqlx::Error> {
    sqlx::query_scalar("SELECT id FROM invoices WHERE corrects = $1 AND state = 'draft' LIMIT 1")
        .bind(id)
        .fetch_optional(db)
        .await
}

pub(super) async fn client_of_order(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<ClientId, sqlx::Error> {
    sqlx::query_scalar("SELECT client_id FROM orders WHERE id = $1").bind(order).fetch_one(db).await
}

pub(super) async fn number_of_order(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar("SELECT number FROM orders WHERE id = $1").bind(order).fetch_one(db).await
}

/// What pays for an invoice, or what a payment pays for.
#[derive(Clone, Debug, FromRow)]
pub(super) struct SettledRow {
    pub(super) kind: String,
    pub(super) on_day: Day,
    pub(super) method: String,
    pub(super) reference: String,
    pub(super) amount: Decimal,
    /// What changing the money came to, in the studio's currency.
    pub(super) booked_in: Option<String>,
    pub(super) difference: Decimal,
}

pub(super) async fn settled(pool: &PgPool, id: InvoiceId) -> Result<Vec<SettledRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.kind, e.on_day, e.method, e.reference, sum(s.amount) AS amount, max(s.booked_in)::text AS booked_in,
                coalesce(sum(s.difference), 0) AS difference FROM settlements s
         JOIN client_entries e ON e.id = CASE WHEN s.debit_id = $1 THEN s.credit_id ELSE s.debit_id END
         WHERE s.debit_id = $1 OR s.credit_id = $1
         GROUP BY e.id HAVING sum(s.amount) <> 0 ORDER BY e.on_day, e.at",
    )
    .bind(id)
    .fetch_all(pool)
    .await
}

/// An entry of a client's account.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct EntryRow {
    pub(crate) id: EntryId,
    pub(crate) kind: String,
    pub(crate) debit: bool,
    pub(crate) currency: String,
    pub(crate) amount: Decimal,
    pub(crate) open: Decimal,
    pub(crate) on_day: Day,
    pub(crate) due_on: Option<Day>,
    pub(crate) method: String,
    pub(crate) reference: String,
    pub(crate) reversed: bool,
    pub(crate) booked_in: Option<String>,
    pub(crate) booked: Option<Decimal>,
    /// The invoices that a payment or a credit note pays for.
    pub(crate) pays_for: Option<String>,
}

impl EntryRow {
    pub(crate) fn words(&self) -> String {
        let kind = match self.kind.as_str() {
            "invoice" => "Invoice",
            "credit_note" => "Credit note",
            "payment" => "Payment",
            "refund" => "Given back",
            "payment_reversed" => "Payment reversed",
            _ => "Refund reversed",
        };
        let pays_for = self.pays_for.as_ref().map(|invoices| format!("for invoice {invoices}"));
        [kind, self.method.as_str(), self.reference.as_str(), pays_for.as_deref().unwrap_or("")]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    }

    pub(crate) fn is_document(&self) -> bool {
        self.kind == "invoice" || self.kind == "credit_note"
    }

    pub(crate) fn signed(&self) -> Decimal {
        if self.debit { self.amount } else { -self.amount }
    }

    pub(crate) fn can_be_reversed(&self) -> bool {
        !self.reversed && (self.kind == "payment" || self.kind == "refund")
    }
}

/// All entries of an account up to a day, oldest first, with what was open of them on that day.
pub(crate) async fn entries(
    db: impl PgExecutor<'_>,
    client: ClientId,
    to: Day,
) -> Result<Vec<EntryRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.id, e.kind, e.debit, e.currency, e.amount, e.on_day, i.due_on, e.method,
                e.amount - coalesce((SELECT sum(s.amount) FROM settlements s WHERE (s.debit_id = e.id OR s.credit_id = e.id)
                    AND coalesce(s.on_day, s.at::date) <= $2), 0) AS open,
                e.reference, EXISTS (SELECT 1 FROM client_entries r WHERE r.reverses = e.id) AS reversed,
                e.booked_in::text AS booked_in, e.booked,
                (SELECT string_agg(paid.label, ', ' ORDER BY paid.number) FROM (
                    SELECT d.label, d.number FROM settlements s JOIN invoices d ON d.id = s.debit_id
                    WHERE s.credit_id = e.id GROUP BY d.id HAVING sum(s.amount) <> 0) paid) AS pays_for
         FROM client_entries e LEFT JOIN invoices i ON i.id = e.id
         WHERE e.client_id = $1 AND e.on_day <= $2 ORDER BY e.currency, e.on_day, e.at, e.id",
    )
    .bind(client)
    .bind(to)
    .fetch_all(db)
    .await
}

/// A client as papers address them.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct ClientRow {
    pub(crate) id: ClientId,
    pub(crate) name: String,
    pub(crate) address: String,
}

pub(crate) async fn client(
    db: impl PgExecutor<'_>,
    id: ClientId,
) -> Result<ClientRow, sqlx::Error> {
    sqlx::query_as("SELECT id, name, address FROM clients WHERE id = $1")
        .bind(id)
        .fetch_one(db)
        .await
}

/// What changing the money for an invoice came to.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Exchanged {
    /// The invoice, or what else was owed.
    pub(super) label: String,
    pub(super) currency: String,
    pub(super) booked_in: String,
    /// Gained where it is above nothing.
    pub(super) difference: Decimal,
}

/// What changing money came to with a client up to a day, invoice by invoice.
pub(super) async fn exchanged(
    pool: &PgPool,
    client: ClientId,
    to: Day,
) -> Result<Vec<Exchanged>, sqlx::Error> {
    sqlx::query_as(
        "SELECT coalesce('invoice ' || i.label, replace(e.kind, '_', ' ')) AS label, e.currency::text AS currency,
                s.booked_in::text AS booked_in, sum(s.difference) AS difference
         FROM settlements s JOIN client_entries e ON e.id = s.debit_id LEFT JOIN invoices i ON i.id = e.id
         WHERE e.client_id = $1 AND s.booked_in IS NOT NULL AND coalesce(s.on_day, s.at::date) <= $2
         GROUP BY e.id, i.id, s.booked_in HAVING sum(s.difference) <> 0 ORDER BY e.on_day, e.at, e.id",
    )
    .bind(client)
    .bind(to)
    .fetch_all(pool)
    .await
}

/// Currencies in which a client has an account.
pub(super) async fn currencies(
    db: impl PgExecutor<'_>,
    client: ClientId,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT DISTINCT currency::text FROM client_entries WHERE client_id = $1 ORDER BY 1",
    )
    .bind(client)
    .fetch_all(db)
    .await
}

/// An invoice that is not paid.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Unpaid {
    pub(super) id: InvoiceId,
    pub(super) label: String,
    pub(super) open: Decimal,
    pub(super) currency: String,
}

/// Invoices of a client that are not paid, to choose from.
pub(super) async fn unpaid(pool: &PgPool, client: ClientId) -> Result<Vec<Unpaid>, sqlx::Error> {
    sqlx::query_as(
        "SELECT i.id, i.label, b.amount - b.settled AS open, i.currency FROM invoices i
         JOIN entry_balances b ON b.entry_id = i.id
         WHERE i.client_id = $1 AND i.kind = 'invoice' AND b.settled < b.amount ORDER BY i.number",
    )
    .bind(client)
    .fetch_all(pool)
    .await
}

/// The client's credit that is not used, in a currency.
pub(super) async fn credit(
    pool: &PgPool,
    client: ClientId,
    currency: &str,
) -> Result<Decimal, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT coalesce(sum(b.amount - b.settled), 0) FROM client_entries e JOIN entry_balances b ON b.entry_id = e.id
         WHERE e.client_id = $1 AND e.currency = $2 AND NOT e.debit AND b.settled < b.amount",
    )
    .bind(client)
    .bind(currency)
    .fetch_one(pool)
    .await
}

/// What happened with an invoice.
#[derive(Clone, Debug, FromRow)]
pub(super) struct HistoryRow {
    pub(super) at: Moment,
    pub(super) person: Option<String>,
    pub(super) action: String,
}

pub(super) async fn history(pool: &PgPool, id: InvoiceId) -> Result<Vec<HistoryRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.at, p.name AS person, a.action FROM audit a LEFT JOIN people p ON p.id = a.person_id
         WHERE a.subject = $1 ORDER BY a.id DESC LIMIT 50",
    )
    .bind(format!("invoice:{id}"))
    .fetch_all(pool)
    .await
}
