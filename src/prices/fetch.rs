//! A price list read from an address that the studio set. Off until an address is set.
//!
//! The address answers with the same list that can be pasted. Nothing is noted unless every
//! line can be read, and what went wrong is kept for the owner to read.

use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, Uri, header};
use hyper_util::client::legacy::Client;
use hyper_util::rt::TokioExecutor;
use sqlx::{FromRow, PgConnection, PgPool};

use super::paste::{self, Against};
use super::{store, view};
use crate::clock::{Clock, Day, Moment};
use crate::studio::Settings;
use crate::web::Fault;

/// An answer may be as large as this.
const MOST_BYTES: usize = 256 * 1024;
/// And must have come after so long.
const PATIENCE: Duration = Duration::from_secs(20);
/// The task looks so often whether the day's list was read.
const EVERY: Duration = Duration::from_secs(15 * 60);

/// What is set about reading a list.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Fetching {
    /// Where from; empty is nowhere.
    pub(super) fetch_url: String,
    /// Once a day by itself.
    pub(super) fetch_daily: bool,
    /// When it was tried last.
    pub(super) fetched_at: Option<Moment>,
    /// What came of it.
    pub(super) fetch_said: String,
}

impl Fetching {
    pub(super) async fn load(pool: &PgPool) -> Result<Self, sqlx::Error> {
        sqlx::query_as("SELECT fetch_url, fetch_daily, fetched_at, fetch_said FROM price_rules")
            .fetch_one(pool)
            .await
    }
}

/// Sets where the list is read from.
pub(super) async fn set(
    conn: &mut PgConnection,
    url: &str,
    daily: bool,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE price_rules SET fetch_url = $1, fetch_daily = $2, fetched_at = NULL, fetch_said = ''")
        .bind(url)
        .bind(daily)
        .execute(conn)
        .await?;
    Ok(())
}

/// Checks an address as typed; the error says what is wrong with it.
pub(super) fn address(typed: &str) -> Result<Uri, String> {
    let uri: Uri = typed.parse().map_err(|_| "This is not an address.".to_owned())?;
    match uri.scheme_str() {
        Some("http" | "https") if uri.host().is_some_and(|host| !host.is_empty()) => {}
        _ => return Err("An address begins with https:// or http:// and names a host.".to_owned()),
    }
    if uri.authority().is_some_and(|authority| authority.as_str().contains('@')) {
        return Err("An address with a password in it is not taken.".to_owned());
    }
    Ok(uri)
}

/// Asks an address for its list. It is not followed to another address.
async fn ask(uri: &Uri) -> Result<String, String> {
    tokio::time::timeout(PATIENCE, answer(uri))
        .await
        .map_err(|_| format!("no answer within {} s", PATIENCE.as_secs()))?
}

async fn answer(uri: &Uri) -> Result<String, String> {
    let host = uri.host().unwrap_or_default();
    let connector = hyper_rustls::HttpsConnectorBuilder::new()
        .with_webpki_roots()
        .https_or_http()
        .enable_http1()
        .build();
    let client: Client<_, Body> = Client::builder(TokioExecutor::new()).build(connector);
    let request = Request::get(uri.clone())
        .header(header::ACCEPT, "text/csv, text/plain")
        .header(header::USER_AGENT, "Pourday")
        .body(Body::empty())
        .map_err(|error| format!("the address cannot be asked for: {error}"))?;
    let response = client.request(request).await.map_err(|error| {
        if error.is_connect() {
            format!("{host} cannot be reached")
        } else {
            format!("{host} did not answer as a web server does")
        }
    })?;
    let status = response.status();
    if status != StatusCode::OK {
        return Err(format!("{host} answered {status}"));
    }
    let bytes = to_bytes(Body::new(response.into_body()), MOST_BYTES)
        .await
        .map_err(|_| format!("the answer is longer than {} kB, or broke off", MOST_BYTES / 1024))?;
    String::from_utf8(bytes.to_vec()).map_err(|_| "the answer is not text".to_owned())
}

/// Reads the list and notes its prices from today on, all of them or none; says what came of it.
pub(super) async fn fetch(pool: &PgPool, clock: &Clock) -> Result<String, Fault> {
    let fetching = Fetching::load(pool).await?;
    let settings = Settings::load(pool).await?;
    let now = clock.now();
    let today = now.day_in(&settings.zone());
    let said = match address(&fetching.fetch_url) {
        Err(why) => why,
        Ok(uri) => match ask(&uri).await {
            Err(why) => format!("Nothing was noted: {why}."),
            Ok(text) => note(pool, &settings, &text, today, now).await?,
        },
    };
    sqlx::query("UPDATE price_rules SET fetched_at = $1, fetch_said = $2")
        .bind(now)
        .bind(&said)
        .execute(pool)
        .await?;
    Ok(said)
}

async fn note(
    pool: &PgPool,
    settings: &Settings,
    text: &str,
    today: Day,
    now: Moment,
) -> Result<String, Fault> {
    let items = view::items(pool, today, &settings.currency).await?;
    let currency = settings.currency.as_str();
    let lines = paste::read(text, &Against { items: &items, currency, today, correct: true });
    if lines.is_empty() {
        return Ok("Nothing was noted: the answer has no line with a price.".to_owned());
    }
    let wrong = lines.iter().find_map(|line| {
        line.read.as_ref().err().map(|why| format!("line {} “{}”: {why}", line.number, line.typed))
    });
    if let Some(wrong) = wrong {
        return Ok(format!("Nothing was noted: {wrong}"));
    }
    let mut tx = pool.begin().await?;
    let currency = store::hold_currency(&mut tx).await?;
    let mut noted = 0;
    for line in &lines {
        let Ok((_, price)) = &line.read else { continue };
        match store::on_day(&mut tx, price).await? {
            Some((_, before)) if before == price.amount => continue,
            Some((id, _)) => store::correct(&mut tx, id, price, &currency, None, now).await?,
            None => {
                store::insert(&mut tx, price, &currency, None, now).await?;
            }
        }
        noted += 1;
    }
    tx.commit().await?;
    Ok(format!("{} prices read, {noted} of them new.", lines.len()))
}

/// Reads the list once a day where that is wanted, for as long as the program runs. Several
/// copies of the program take turns by a lock of the database.
pub async fn keep_fetching(pool: PgPool, clock: Clock) {
    loop {
        if let Err(fault) = when_due(&pool, &clock).await {
            tracing::warn!(?fault, "prices were not fetched");
        }
        tokio::time::sleep(EVERY).await;
    }
}

async fn when_due(pool: &PgPool, clock: &Clock) -> Result<(), Fault> {
    let fetching = Fetching::load(pool).await?;
    // Before anybody founded a studio there is nothing to ask for either.
    if !fetching.fetch_daily || fetching.fetch_url.is_empty() {
        return Ok(());
    }
    let zone = Settings::load(pool).await?.zone();
    let today = clock.now().day_in(&zone);
    if fetching.fetched_at.is_some_and(|at| at.day_in(&zone) == today) {
        return Ok(());
    }
    let mut tx = pool.begin().await?;
    let ours: bool = sqlx::query_scalar(
        "SELECT pg_try_advisory_xact_lock(hashtext('prices'), hashtext('fetch'))",
    )
    .fetch_one(&mut *tx)
    .await?;
    if ours {
        fetch(pool, clock).await?;
    }
    Ok(tx.commit().await?)
}
