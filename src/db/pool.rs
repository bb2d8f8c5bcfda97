//! Connecting, and how long anything may wait.

use std::path::PathBuf;
use std::str::FromStr;
use std::time::Duration;

use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, PgPool};

use super::DbRefusal;
use super::own_server::binaries::OLDEST;
use super::own_server::{self, Address, DATABASE, OwnServer};

/// How long a request waits for a connection before the visitor is told to come back.
const ACQUIRE: Duration = Duration::from_secs(5);
/// How long the end of the program waits for connections still at work.
const CLOSE: Duration = Duration::from_secs(10);
/// Connections of one copy of the program. A server's usual limit is a hundred.
const CONNECTIONS: u32 = 16;

/// Limits of every session, so that nothing waits for ever: a statement, a lock, and a
/// transaction whose owner has gone quiet. Longer work sets its own with `SET LOCAL`. And no
/// compiling of queries: it takes a tenth of a second, and the queries of pages take less.
const LIMITS: [(&str, &str); 4] = [
    ("jit", "off"),
    ("statement_timeout", "60s"),
    ("lock_timeout", "10s"),
    ("idle_in_transaction_session_timeout", "60s"),
];

/// Which database to use.
#[derive(Debug, Clone)]
pub enum Source {
    /// A private server in this data folder.
    Own(PathBuf),
    /// The server at this address.
    Url(String),
}

/// A database ready for use.
#[derive(Debug)]
pub struct Database {
    /// The connections.
    pub pool: PgPool,
    /// The private server, if it is one of ours.
    pub own: Option<OwnServer>,
    /// How to reach the same database outside the pool.
    options: PgConnectOptions,
}

impl Database {
    /// Whether the server takes connections just now, as far as is known without asking.
    #[must_use]
    pub fn healthy(&self) -> bool {
        self.own.as_ref().is_none_or(OwnServer::healthy)
    }

    /// How to reach the same database outside the pool.
    #[must_use]
    pub fn options(&self) -> &PgConnectOptions {
        &self.options
    }

    /// Closes the connections and stops a private server in good order.
    ///
    /// # Errors
    /// The private server did not stop.
    pub async fn close(self) -> Result<(), DbRefusal> {
        // A connection that is not given back in time is cut off by the server's stop.
        let _given_back = tokio::time::timeout(CLOSE, self.pool.close()).await;
        match self.own {
            Some(own) => in_thread(move || own.stop()).await,
            None => Ok(()),
        }
    }
}

/// Connects to the database, starting a private server and making the database in it
/// if that is what is asked for. The tables are [`super::migrate()`]'s work.
///
/// # Errors
/// The server cannot be started or reached, or is not fit; each says what to do.
pub async fn connect(source: Source) -> Result<Database, DbRefusal> {
    match source {
        Source::Own(data_dir) => {
            let own = in_thread(move || OwnServer::start(&data_dir)).await?;
            ensure_database(own.address()).await?;
            let options = own.address().options(DATABASE);
            open(options, Some(own)).await
        }
        Source::Url(url) => open(parse(&url)?, None).await,
    }
}

/// Connects to the private server another Pourday runs in the folder, else does as
/// [`connect`]. For commands that may be given while Pourday runs.
///
/// # Errors
/// As [`connect`].
pub async fn connect_or_join(source: Source) -> Result<Database, DbRefusal> {
    if let Source::Own(data_dir) = &source
        && let Some(address) = own_server::neighbour(data_dir)?
    {
        return open(address.options(DATABASE), None).await;
    }
    connect(source).await
}

pub(super) fn parse(url: &str) -> Result<PgConnectOptions, DbRefusal> {
    PgConnectOptions::from_str(url).map_err(|cause| DbRefusal::Address { cause })
}

async fn open(options: PgConnectOptions, own: Option<OwnServer>) -> Result<Database, DbRefusal> {
    let options = options.application_name("pourday");
    check(&options).await?;
    let pool = PgPoolOptions::new()
        .max_connections(CONNECTIONS)
        .acquire_timeout(ACQUIRE)
        .connect_lazy_with(options.clone().options(LIMITS));
    Ok(Database { pool, own, options })
}

/// Looks whether the server and the database are fit for use.
async fn check(options: &PgConnectOptions) -> Result<(), DbRefusal> {
    let refuse = unreachable_at(options);
    let mut connection = options.connect().await.map_err(&refuse)?;
    let (number, version, encoding): (i32, String, String) = sqlx::query_as(
        "SELECT current_setting('server_version_num')::int, current_setting('server_version'), \
         current_setting('server_encoding')",
    )
    .fetch_one(&mut connection)
    .await
    .map_err(&refuse)?;
    if number / 10_000 < OLDEST.cast_signed() {
        return Err(DbRefusal::ServerTooOld { found: version, oldest: OLDEST });
    }
    if encoding != "UTF8" {
        return Err(DbRefusal::NotUnicode { found: encoding });
    }
    let off: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM pg_settings WHERE setting = 'off' \
         AND name IN ('fsync', 'synchronous_commit', 'full_page_writes') ORDER BY name",
    )
    .fetch_all(&mut connection)
    .await
    .map_err(&refuse)?;
    if !off.is_empty() {
        tracing::warn!(
            "the database server has {} switched off: orders can be lost in a power cut",
            off.join(", ")
        );
    }
    // The session has done its work; how its closing goes does not matter.
    let _closed = connection.close().await;
    Ok(())
}

/// Makes the studio's database in a private server.
async fn ensure_database(address: &Address) -> Result<(), DbRefusal> {
    let options = address.options("postgres");
    let refuse = unreachable_at(&options);
    let mut connection = options.connect().await.map_err(&refuse)?;
    let exists: bool =
        sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)")
            .bind(DATABASE)
            .fetch_one(&mut connection)
            .await
            .map_err(&refuse)?;
    if !exists {
        sqlx::query(AssertSqlSafe(format!("CREATE DATABASE {DATABASE}")))
            .execute(&mut connection)
            .await
            .map_err(&refuse)?;
    }
    let _closed = connection.close().await;
    Ok(())
}

/// Names the database without its password.
pub(super) fn unreachable_at(
    options: &PgConnectOptions,
) -> impl Fn(sqlx::Error) -> DbRefusal + use<> {
    let at = format!(
        "{} at {}",
        options.get_database().unwrap_or_else(|| options.get_username()),
        options
            .get_socket()
            .map_or_else(|| options.get_host().to_owned(), |path| path.display().to_string()),
    );
    move |cause| DbRefusal::Unreachable { at: at.clone(), cause }
}

/// Whether an error means that the database is away, overloaded or too slow just now, so
/// that the visitor is asked to try again in a moment rather than told of a fault.
#[must_use]
pub fn is_unavailable(error: &sqlx::Error) -> bool {
    match error {
        sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed | sqlx::Error::Io(_) => true,
        sqlx::Error::Database(said) => said.code().is_some_and(|code| {
            // PostgreSQL, appendix A, "PostgreSQL Error Codes": class 08 connection
            // exceptions, 53 insufficient resources, 57P shutdown and crash; a statement,
            // a lock or a quiet transaction over its limit.
            code.starts_with("08")
                || code.starts_with("53")
                || code.starts_with("57P")
                || matches!(&*code, "57014" | "55P03" | "25P03")
        }),
        _ => false,
    }
}

/// Runs what blocks on a thread where that is allowed.
pub(super) async fn in_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, DbRefusal> + Send + 'static,
) -> Result<T, DbRefusal> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(ended) => match ended.try_into_panic() {
            Ok(panic) => std::panic::resume_unwind(panic),
            Err(_) => Err(DbRefusal::Interrupted),
        },
    }
}
