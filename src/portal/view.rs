//! What the client's page reads of its one order.

use rust_decimal::Decimal;
use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{FileId, InvoiceId, OrderId, PhotoId};

/// An issued invoice of the order.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct InvoiceRow {
    pub(crate) id: InvoiceId,
    pub(crate) kind: String,
    pub(crate) label: String,
    pub(crate) purpose: String,
    pub(crate) open: Decimal,
    pub(crate) issued_on: Day,
    pub(crate) due_on: Option<Day>,
    pub(crate) pay_to: String,
}

impl InvoiceRow {
    pub(crate) fn is_credit(&self) -> bool {
        self.kind == "credit_note"
    }

    pub(crate) fn title(&self) -> String {
        let kind = if self.is_credit() { "Credit note" } else { "Invoice" };
        let about = if self.purpose == "deposit" { " for the deposit" } else { "" };
        format!("{kind} {}{about}", self.label)
    }
}

pub(super) async fn invoices(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<Vec<InvoiceRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT i.id, i.kind, i.label, i.purpose, b.amount - b.settled AS open, i.issued_on, i.due_on,
                i.pay_to
         FROM invoices i JOIN entry_balances b ON b.entry_id = i.id
         WHERE i.order_id = $1 AND i.state = 'issued' ORDER BY i.issued_on, i.kind, i.number",
    )
    .bind(order)
    .fetch_all(db)
    .await
}

/// A picture that the studio chose to share.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct PhotoRow {
    pub(crate) id: PhotoId,
    pub(crate) label: String,
    pub(crate) caption: String,
    pub(crate) taken_at: Moment,
}

pub(super) async fn photos(pool: &PgPool, order: OrderId) -> Result<Vec<PhotoRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, p.label, f.caption, f.taken_at FROM photos f JOIN pieces p ON p.id = f.piece_id
         WHERE p.order_id = $1 AND f.shared ORDER BY f.taken_at DESC, f.id LIMIT 60",
    )
    .bind(order)
    .fetch_all(pool)
    .await
}

/// The file of a picture of this order, if it is shared.
pub(super) async fn shared_photo(
    pool: &PgPool,
    order: OrderId,
    photo: PhotoId,
) -> Result<Option<FileId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT f.file_id FROM photos f JOIN pieces p ON p.id = f.piece_id
         WHERE f.id = $2 AND p.order_id = $1 AND f.shared",
    )
    .bind(order)
    .bind(photo)
    .fetch_optional(pool)
    .await
}
