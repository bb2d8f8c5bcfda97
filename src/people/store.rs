//! The tables of people, sessions and attempts to sign in.

use jiff::tz::TimeZone;
use rand::RngCore;
use sha2::{Digest, Sha256};
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use crate::clock::Moment;
use crate::id::PersonId;
use crate::web::{Show, Units};

/// What somebody may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum Role {
    /// Everything, prices and people included.
    Owner,
    /// The bench: all stages, no prices and no people.
    Maker,
}

/// How long a session lasts without being used, in seconds.
const SESSION_S: i64 = 30 * 24 * 3600;

#[derive(Debug, FromRow)]
pub(super) struct SessionRow {
    pub(super) person_id: PersonId,
    pub(super) name: String,
    pub(super) role: Role,
    pub(super) seen_at: Moment,
    pub(super) studio_name: Option<String>,
    time_zone: Option<String>,
    currency: Option<String>,
    temperature_unit: Option<String>,
    length_unit: Option<String>,
    mass_unit: Option<String>,
}

impl SessionRow {
    pub(super) fn show(&self, now: Moment) -> Show {
        let zone = self.time_zone.as_deref().and_then(|name| TimeZone::get(name).ok());
        Show {
            units: Units {
                fahrenheit: self.temperature_unit.as_deref() == Some("F"),
                inches: self.length_unit.as_deref() == Some("inch"),
                mass: self.mass_unit.clone().unwrap_or_else(|| "g".to_owned()),
                currency: self.currency.clone().unwrap_or_else(|| "EUR".to_owned()),
            },
            zone: zone.unwrap_or(TimeZone::UTC),
            now,
        }
    }
}

fn token_hash(token: &str) -> Vec<u8> {
    Sha256::digest(token.as_bytes()).to_vec()
}

pub(super) async fn find_session(
    pool: &PgPool,
    token: &str,
    now: Moment,
) -> Result<Option<SessionRow>, sqlx::Error> {
    let row: Option<SessionRow> = sqlx::query_as(
        "SELECT p.id AS person_id, p.name, p.role, s.seen_at, st.name AS studio_name, st.time_zone, st.currency,
                st.temperature_unit, st.length_unit, st.mass_unit
         FROM sessions s JOIN people p ON p.id = s.person_id LEFT JOIN studio st ON true
         WHERE s.token_hash = $1 AND s.expires_at > $2 AND p.left_at IS NULL",
    )
    .bind(token_hash(token))
    .bind(now)
    .fetch_optional(pool)
    .await?;
    if let Some(row) = &row
        && now.seconds_since(row.seen_at) > 3600
    {
        sqlx::query("UPDATE sessions SET seen_at = $2, expires_at = $3 WHERE token_hash = $1")
            .bind(token_hash(token))
            .bind(now)
            .bind(now.plus_seconds(SESSION_S))
            .execute(pool)
            .await?;
    }
    Ok(row)
}

/// Opens a session and returns its token; only the token's hash is kept.
pub(super) async fn open_session(
    pool: &PgPool,
    person: PersonId,
    agent: &str,
    now: Moment,
) -> Result<String, sqlx::Error> {
    let mut random = [0_u8; 32];
    rand::rng().fill_bytes(&mut random);
    let token = base64::Engine::encode(&base64::engine::general_purpose::URL_SAFE_NO_PAD, random);
    let agent: String = agent.chars().take(200).collect();
    sqlx::query(
        "INSERT INTO sessions (token_hash, person_id, created_at, seen_at, expires_at, agent) VALUES ($1, $2, $3, $3, $4, $5)",
    )
    .bind(token_hash(&token))
    .bind(person)
    .bind(now)
    .bind(now.plus_seconds(SESSION_S))
    .bind(agent)
    .execute(pool)
    .await?;
    sqlx::query("DELETE FROM sessions WHERE expires_at < $1").bind(now).execute(pool).await?;
    Ok(token)
}

pub(super) async fn close_session(pool: &PgPool, token: &str) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM sessions WHERE token_hash = $1")
        .bind(token_hash(token))
        .execute(pool)
        .await?;
    Ok(())
}

pub(super) async fn close_sessions_of(
    conn: &mut PgConnection,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM sessions WHERE person_id = $1").bind(person).execute(conn).await?;
    Ok(())
}

#[derive(Debug, FromRow)]
pub(super) struct SignInRow {
    pub(super) id: PersonId,
    pub(super) password_hash: String,
}

pub(super) async fn find_by_login(
    pool: &PgPool,
    login: &str,
) -> Result<Option<SignInRow>, sqlx::Error> {
    sqlx::query_as("SELECT id, password_hash FROM people WHERE login = $1 AND left_at IS NULL")
        .bind(login)
        .fetch_optional(pool)
        .await
}

pub(super) async fn find_hash(pool: &PgPool, person: PersonId) -> Result<String, sqlx::Error> {
    sqlx::query_scalar("SELECT password_hash FROM people WHERE id = $1")
        .bind(person)
        .fetch_one(pool)
        .await
}

/// How often signing in failed lately, for the name and for the address.
pub(super) async fn failures_since(
    pool: &PgPool,
    login: &str,
    address: &str,
    since: Moment,
) -> Result<(i64, i64), sqlx::Error> {
    sqlx::query_as(
        "SELECT (SELECT count(*) FROM sign_in_attempts WHERE login = $1 AND at > $3 AND NOT good),
                (SELECT count(*) FROM sign_in_attempts WHERE address = $2 AND at > $3 AND NOT good)",
    )
    .bind(login)
    .bind(address)
    .bind(since)
    .fetch_one(pool)
    .await
}

pub(super) async fn note_attempt(
    pool: &PgPool,
    login: &str,
    address: &str,
    good: bool,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO sign_in_attempts (login, address, at, good) VALUES ($1, $2, $3, $4)")
        .bind(login)
        .bind(address)
        .bind(now)
        .bind(good)
        .execute(pool)
        .await?;
    sqlx::query("DELETE FROM sign_in_attempts WHERE at < $1")
        .bind(now.plus_minutes(-7 * 24 * 60))
        .execute(pool)
        .await?;
    Ok(())
}

/// How many people may sign in.
pub async fn count(db: impl PgExecutor<'_>) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT count(*) FROM people WHERE left_at IS NULL").fetch_one(db).await
}

/// Adds somebody, with a hash made by [`super::hash_password`].
pub async fn add(
    db: impl PgExecutor<'_>,
    name: &str,
    login: &str,
    role: Role,
    password_hash: &str,
    now: Moment,
) -> Result<PersonId, sqlx::Error> {
    let id = PersonId::new();
    sqlx::query("INSERT INTO people (id, name, login, role, password_hash, created_at) VALUES ($1, $2, $3, $4, $5, $6)")
        .bind(id)
        .bind(name)
        .bind(login)
        .bind(role)
        .bind(password_hash)
        .bind(now)
        .execute(db)
        .await?;
    Ok(id)
}

pub(super) async fn set_password(
    conn: &mut PgConnection,
    person: PersonId,
    password_hash: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE people SET password_hash = $2 WHERE id = $1")
        .bind(person)
        .bind(password_hash)
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends somebody's access; refuses nothing here, the page keeps the last owner.
pub(super) async fn leave(
    conn: &mut PgConnection,
    person: PersonId,
    now: Moment,
) -> Result<u64, sqlx::Error> {
    let done = sqlx::query("UPDATE people SET left_at = $2 WHERE id = $1 AND left_at IS NULL")
        .bind(person)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(done.rows_affected())
}

#[derive(Debug, FromRow)]
pub(super) struct PersonRow {
    pub(super) id: PersonId,
    pub(super) name: String,
    pub(super) login: String,
    pub(super) role: Role,
    pub(super) created_at: Moment,
}

pub(super) async fn list(pool: &PgPool) -> Result<Vec<PersonRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, login, role, created_at FROM people WHERE left_at IS NULL ORDER BY name",
    )
    .fetch_all(pool)
    .await
}

/// The key that a first owner has to bring: printed at the start, kept in the database.
pub(super) async fn set_up_key(pool: &PgPool) -> Result<Option<Vec<u8>>, sqlx::Error> {
    sqlx::query_scalar("SELECT value FROM secrets WHERE name = 'set_up_key'")
        .fetch_optional(pool)
        .await
}

/// Keeps others from adding a person until the commit.
pub(super) async fn hold_all(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query("LOCK TABLE people IN SHARE ROW EXCLUSIVE MODE").execute(conn).await?;
    Ok(())
}
