//! What clients ask and the studio answers: all SQL of it.

use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};
use uuid::Uuid;

use crate::clock::Moment;
use crate::id::{OrderId, PersonId};

/// Something that was written on an order's page.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct Said {
    pub(crate) words: String,
    pub(crate) asked_at: Moment,
    /// Who of the studio wrote it; nothing for the client.
    pub(crate) person: Option<String>,
    pub(crate) open: bool,
}

/// Everything written about an order, oldest first.
pub(super) async fn of_order(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<Vec<Said>, sqlx::Error> {
    sqlx::query_as(
        "SELECT q.words, q.asked_at, p.name AS person, q.settled_at IS NULL AND q.person_id IS NULL AS open
         FROM questions q LEFT JOIN people p ON p.id = q.person_id WHERE q.order_id = $1 ORDER BY q.asked_at, q.id",
    )
    .bind(order)
    .fetch_all(db)
    .await
}

/// Keeps what somebody wrote; the studio's answer settles what was asked before it.
pub(super) async fn say(
    conn: &mut PgConnection,
    order: OrderId,
    words: &str,
    person: Option<PersonId>,
    now: Moment,
) -> Result<(), sqlx::Error> {
    if person.is_some() {
        settle(conn, order, now).await?;
    }
    sqlx::query(
        "INSERT INTO questions (id, order_id, words, asked_at, person_id) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(Uuid::now_v7())
    .bind(order)
    .bind(words)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// Marks what was asked as dealt with, for questions answered on the phone.
pub(super) async fn settle(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE questions SET settled_at = $2 WHERE order_id = $1 AND settled_at IS NULL AND person_id IS NULL",
    )
    .bind(order)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// How many questions a client asked since a moment; one who asks too many is told to wait.
pub(super) async fn asked_since(
    conn: &mut PgConnection,
    order: OrderId,
    since: Moment,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) FROM questions WHERE order_id = $1 AND person_id IS NULL AND asked_at > $2",
    )
    .bind(order)
    .bind(since)
    .fetch_one(conn)
    .await
}

/// An order with questions that nobody has dealt with.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct Waiting {
    pub(crate) number: i32,
    pub(crate) title: String,
    pub(crate) client: String,
    pub(crate) since: Moment,
    pub(crate) questions: i64,
}

pub(super) async fn waiting(pool: &PgPool) -> Result<Vec<Waiting>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number, o.title, c.name AS client, min(q.asked_at) AS since, count(*) AS questions
         FROM questions q JOIN orders o ON o.id = q.order_id JOIN clients c ON c.id = o.client_id
         WHERE q.settled_at IS NULL AND q.person_id IS NULL GROUP BY o.id, c.id ORDER BY since LIMIT 200",
    )
    .fetch_all(pool)
    .await
}
