//! All SQL that writes tokens, webhooks and deliveries.

use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use crate::clock::Moment;
use crate::id::PersonId;

/// A token that works.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TokenRow {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) scopes: Vec<String>,
    pub(super) made_by: PersonId,
}

fn hash(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}

/// Finds a token by its secret, if it was not revoked and its maker is still an owner here.
pub(super) async fn token(
    pool: &PgPool,
    secret: &str,
    now: Moment,
) -> Result<Option<TokenRow>, sqlx::Error> {
    sqlx::query_as(
        "UPDATE api_tokens t SET used_at = $2 FROM people p
         WHERE t.token_hash = $1 AND t.revoked_at IS NULL AND p.id = t.made_by AND p.left_at IS NULL AND p.role = 'owner'
         RETURNING t.id, t.name, t.scopes, t.made_by",
    )
    .bind(hash(secret))
    .bind(now)
    .fetch_optional(pool)
    .await
}

/// Counts a request of a token; how many there were in this minute. Old minutes are forgotten.
pub(super) async fn count_request(
    pool: &PgPool,
    token: Uuid,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    let n = sqlx::query_scalar(
        "INSERT INTO api_requests (token_id, minute, n) VALUES ($1, date_trunc('minute', $2::timestamptz), 1)
         ON CONFLICT (token_id, minute) DO UPDATE SET n = api_requests.n + 1 RETURNING n",
    )
    .bind(token)
    .bind(now)
    .fetch_one(pool)
    .await?;
    if n == 1 {
        sqlx::query("DELETE FROM api_requests WHERE token_id = $1 AND minute < $2")
            .bind(token)
            .bind(now.plus_minutes(-60))
            .execute(pool)
            .await?;
    }
    Ok(n)
}

pub(super) async fn insert_token(
    conn: &mut PgConnection,
    name: &str,
    secret: &str,
    scopes: &[String],
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO api_tokens (id, name, token_hash, scopes, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)",
    )
    .bind(Uuid::now_v7())
    .bind(name)
    .bind(hash(secret))
    .bind(scopes)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn revoke_token(
    conn: &mut PgConnection,
    id: Uuid,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE api_tokens SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL")
        .bind(id)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

/// A token as the owner sees it.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TokenListRow {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) scopes: Vec<String>,
    pub(super) made_at: Moment,
    pub(super) used_at: Option<Moment>,
}

pub(super) async fn tokens(pool: &PgPool) -> Result<Vec<TokenListRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, scopes, made_at, used_at FROM api_tokens WHERE revoked_at IS NULL ORDER BY made_at",
    )
    .fetch_all(pool)
    .await
}

pub(super) async fn insert_webhook(
    conn: &mut PgConnection,
    url: &str,
    secret: &[u8],
    events: &[String],
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO webhooks (id, url, secret, events, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)",
    )
    .bind(Uuid::now_v7())
    .bind(url)
    .bind(secret)
    .bind(events)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Ends a webhook; what waited for it is given up.
pub(super) async fn end_webhook(
    conn: &mut PgConnection,
    id: Uuid,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE webhooks SET ended_at = $2 WHERE id = $1 AND ended_at IS NULL")
        .bind(id)
        .bind(now)
        .execute(&mut *conn)
        .await?;
    sqlx::query(
        "UPDATE webhook_deliveries SET state = 'given_up', trouble = 'The webhook was ended.'
         WHERE webhook_id = $1 AND state = 'waiting'",
    )
    .bind(id)
    .execute(conn)
    .await?;
    Ok(())
}

/// A webhook as the owner sees it, with how its last delivery went.
#[derive(Clone, Debug, FromRow)]
pub(super) struct WebhookRow {
    pub(super) id: Uuid,
    pub(super) url: String,
    pub(super) events: Vec<String>,
    pub(super) made_at: Moment,
    pub(super) delivered: i64,
    pub(super) waiting: i64,
    pub(super) given_up: i64,
    pub(super) trouble: Option<String>,
}

pub(super) async fn webhooks(pool: &PgPool) -> Result<Vec<WebhookRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT w.id, w.url, w.events, w.made_at, count(d.id) FILTER (WHERE d.state = 'delivered') AS delivered,
                count(d.id) FILTER (WHERE d.state = 'waiting') AS waiting,
                count(d.id) FILTER (WHERE d.state = 'given_up') AS given_up,
                (SELECT x.trouble FROM webhook_deliveries x WHERE x.webhook_id = w.id AND x.attempts > 0
                 ORDER BY x.at DESC LIMIT 1) AS trouble
         FROM webhooks w LEFT JOIN webhook_deliveries d ON d.webhook_id = w.id
         WHERE w.ended_at IS NULL GROUP BY w.id ORDER BY w.made_at",
    )
    .fetch_all(pool)
    .await
}

/// A delivery that is due, with where it goes.
#[derive(Clone, Debug, FromRow)]
pub(super) struct DeliveryRow {
    pub(super) id: Uuid,
    pub(super) event: String,
    pub(super) content: Value,
    pub(super) at: Moment,
    pub(super) attempts: i32,
    pub(super) url: String,
    pub(super) secret: Vec<u8>,
    pub(super) webhook_id: Uuid,
}

/// Takes the next delivery that is due, for so long that a copy of the program which died with
/// it gives it back.
pub(super) async fn claim(
    pool: &PgPool,
    now: Moment,
    until: Moment,
) -> Result<Option<DeliveryRow>, sqlx::Error> {
    sqlx::query_as(
        "UPDATE webhook_deliveries d SET claimed_until = $2, attempts = attempts + 1 FROM webhooks w
         WHERE w.id = d.webhook_id AND d.id = (
             SELECT id FROM webhook_deliveries WHERE state = 'waiting' AND next_try_at <= $1
               AND (claimed_until IS NULL OR claimed_until < $1)
             ORDER BY next_try_at, id LIMIT 1 FOR UPDATE SKIP LOCKED)
         RETURNING d.id, d.event, d.content, d.at, d.attempts, w.url, w.secret, d.webhook_id",
    )
    .bind(now)
    .bind(until)
    .fetch_optional(pool)
    .await
}

pub(super) async fn delivered(pool: &PgPool, id: Uuid, now: Moment) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE webhook_deliveries SET state = 'delivered', delivered_at = $2, claimed_until = NULL, trouble = ''
         WHERE id = $1",
    )
    .bind(id)
    .bind(now)
    .execute(pool)
    .await?;
    Ok(())
}

/// Notes why a delivery failed; it is tried again at a moment, or given up.
pub(super) async fn failed(
    pool: &PgPool,
    id: Uuid,
    trouble: &str,
    again: Option<Moment>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE webhook_deliveries SET state = CASE WHEN $3::timestamptz IS NULL THEN 'given_up' ELSE 'waiting' END,
             next_try_at = coalesce($3, next_try_at), trouble = $2, claimed_until = NULL WHERE id = $1",
    )
    .bind(id)
    .bind(trouble)
    .bind(again)
    .execute(pool)
    .await?;
    Ok(())
}
