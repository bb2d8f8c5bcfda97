//! All SQL that writes clients' accounts: entries, and which of them pays for what.

use rust_decimal::Decimal;
use sqlx::{FromRow, PgConnection};
use uuid::Uuid;

use super::exchange::{self, Side};
use crate::clock::{Day, Moment};
use crate::id::{ClientId, EntryId, PersonId};

/// A new entry of an account.
#[derive(Clone, Debug)]
pub(super) struct NewEntry<'a> {
    pub(super) id: EntryId,
    pub(super) client: ClientId,
    pub(super) kind: &'static str,
    pub(super) currency: &'a str,
    pub(super) amount: Decimal,
    pub(super) on: Day,
    pub(super) method: &'a str,
    pub(super) reference: &'a str,
    pub(super) reverses: Option<EntryId>,
    /// The same in the studio's currency, with its code, when it is in another.
    pub(super) booked: Option<(String, Decimal)>,
}

/// Who writes in an account and when; from which day on it can count.
#[derive(Clone, Copy, Debug)]
pub(super) struct By {
    pub(super) person: PersonId,
    pub(super) at: Moment,
    pub(super) on: Day,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    entry: &NewEntry<'_>,
    by: By,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO client_entries (id, client_id, kind, currency, amount, on_day, method, reference, reverses, at,
             person_id, booked_in, booked) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
    )
    .bind(entry.id)
    .bind(entry.client)
    .bind(entry.kind)
    .bind(entry.currency)
    .bind(entry.amount)
    .bind(entry.on)
    .bind(entry.method)
    .bind(entry.reference)
    .bind(entry.reverses)
    .bind(by.at)
    .bind(by.person)
    .bind(entry.booked.as_ref().map(|(currency, _)| currency))
    .bind(entry.booked.as_ref().map(|(_, amount)| *amount))
    .execute(conn)
    .await?;
    Ok(())
}

/// An entry with what is still open of it.
#[derive(Clone, Copy, Debug, FromRow)]
pub(super) struct Open {
    pub(super) id: EntryId,
    pub(super) open: Decimal,
}

/// The open entries of an account on one side, oldest first.
pub(super) async fn open(
    conn: &mut PgConnection,
    client: ClientId,
    currency: &str,
    debit: bool,
) -> Result<Vec<Open>, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.id, b.amount - b.settled AS open FROM client_entries e JOIN entry_balances b ON b.entry_id = e.id
         WHERE e.client_id = $1 AND e.currency = $2 AND e.debit = $3 AND b.settled < b.amount
         ORDER BY e.on_day, e.at, e.id",
    )
    .bind(client)
    .bind(currency)
    .bind(debit)
    .fetch_all(conn)
    .await
}

/// What is open of one entry.
pub(super) async fn open_of(conn: &mut PgConnection, id: Uuid) -> Result<Decimal, sqlx::Error> {
    sqlx::query_scalar("SELECT amount - settled FROM entry_balances WHERE entry_id = $1")
        .bind(id)
        .fetch_one(conn)
        .await
}

async fn side(conn: &mut PgConnection, id: EntryId) -> Result<Side, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.amount, b.settled, e.booked_in::text AS booked_in, e.booked, e.on_day
         FROM client_entries e JOIN entry_balances b ON b.entry_id = e.id WHERE e.id = $1",
    )
    .bind(id)
    .fetch_one(conn)
    .await
}

/// Lets a credit pay for a debit, or takes that back with an amount below nothing.
pub(super) async fn settle(
    conn: &mut PgConnection,
    credit: EntryId,
    debit: EntryId,
    amount: Decimal,
    by: By,
) -> Result<(), sqlx::Error> {
    if amount.is_zero() {
        return Ok(());
    }
    let (from, to) = (side(&mut *conn, credit).await?, side(&mut *conn, debit).await?);
    let (booked_in, difference) = exchange::difference(&from, &to, amount).unzip();
    sqlx::query(
        "INSERT INTO settlements (credit_id, debit_id, amount, at, person_id, on_day, booked_in, difference)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(credit)
    .bind(debit)
    .bind(amount)
    .bind(by.at)
    .bind(by.person)
    .bind(by.on.max(from.on_day).max(to.on_day))
    .bind(booked_in)
    .bind(difference)
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes back everything that an entry settled.
pub(super) async fn unsettle(
    conn: &mut PgConnection,
    id: EntryId,
    by: By,
) -> Result<(), sqlx::Error> {
    let pairs: Vec<(EntryId, EntryId, Decimal)> = sqlx::query_as(
        "SELECT credit_id, debit_id, sum(amount) FROM settlements WHERE credit_id = $1 OR debit_id = $1
         GROUP BY credit_id, debit_id HAVING sum(amount) <> 0 ORDER BY credit_id, debit_id",
    )
    .bind(id)
    .fetch_all(&mut *conn)
    .await?;
    for (credit, debit, amount) in pairs {
        settle(conn, credit, debit, -amount, by).await?;
    }
    Ok(())
}

/// An entry that may be reversed.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Entry {
    pub(super) kind: String,
    pub(super) currency: String,
    pub(super) amount: Decimal,
    pub(super) booked_in: Option<String>,
    pub(super) booked: Option<Decimal>,
    pub(super) reversed: bool,
}

pub(super) async fn entry(
    conn: &mut PgConnection,
    client: ClientId,
    id: EntryId,
) -> Result<Entry, sqlx::Error> {
    sqlx::query_as(
        "SELECT kind, currency, amount, booked_in::text AS booked_in, booked, EXISTS (SELECT 1 FROM client_entries r WHERE r.reverses = e.id) AS reversed
         FROM client_entries e WHERE id = $1 AND client_id = $2",
    )
    .bind(id)
    .bind(client)
    .fetch_one(conn)
    .await
}
