//! Starting and stopping in good order.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use rand::RngCore;
use sqlx::PgPool;
use tokio::net::TcpListener;

use crate::clock::Clock;
use crate::jobs::{Kind, Worker};
use crate::vault::Vault;
use crate::web::{App, Live};

/// How long a job may take to stop when the program does.
const LAST_BEAT: Duration = Duration::from_secs(3);

/// How the program is told to serve.
#[derive(Clone, Debug)]
pub struct Config {
    /// Where to listen.
    pub listen: SocketAddr,
    /// Whether browsers reach it over TLS.
    pub secure_cookies: bool,
}

/// Why the program did not start.
#[derive(Debug, thiserror::Error)]
pub enum StartFault {
    /// The address is taken or not ours.
    #[error(
        "cannot listen on {address}: {cause}; is Pourday running already, or give another --listen"
    )]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The database failed.
    #[error("the database did not answer as expected: {0}")]
    Database(#[from] sqlx::Error),
    /// The system failed.
    #[error("{0}")]
    System(#[from] std::io::Error),
}

/// Prepares what handlers need, on a migrated database.
pub async fn open(pool: PgPool, clock: Clock, secure_cookies: bool) -> Result<App, sqlx::Error> {
    let link_secret = secret(&pool, "client_links").await?;
    Ok(App {
        pool,
        clock,
        live: Live::default(),
        link_secret: Arc::from(link_secret),
        vault: Vault::none(),
        largest_model: foundry::mesh::Limits::default().file_bytes,
        secure_cookies,
    })
}

/// A secret that all copies of the program share; made once, by whichever comes first.
async fn secret(pool: &PgPool, name: &str) -> Result<Vec<u8>, sqlx::Error> {
    let mut fresh = vec![0_u8; 32];
    rand::rng().fill_bytes(&mut fresh);
    sqlx::query("INSERT INTO secrets (name, value) VALUES ($1, $2) ON CONFLICT (name) DO NOTHING")
        .bind(name)
        .bind(&fresh)
        .execute(pool)
        .await?;
    sqlx::query_scalar("SELECT value FROM secrets WHERE name = $1").bind(name).fetch_one(pool).await
}

/// The key that the first owner has to bring, or nothing when there is an owner.
pub(super) async fn set_up_key(pool: &PgPool) -> Result<Option<String>, sqlx::Error> {
    if crate::people::count(pool).await? > 0 {
        return Ok(None);
    }
    let mut fresh = [0_u8; 9];
    rand::rng().fill_bytes(&mut fresh);
    let fresh = base64::Engine::encode(&base64::engine::general_purpose::URL_SAFE_NO_PAD, fresh);
    sqlx::query(
        "INSERT INTO secrets (name, value) VALUES ('set_up_key', $1) ON CONFLICT (name) DO NOTHING",
    )
    .bind(fresh.as_bytes())
    .execute(pool)
    .await?;
    let kept: Vec<u8> = sqlx::query_scalar("SELECT value FROM secrets WHERE name = 'set_up_key'")
        .fetch_one(pool)
        .await?;
    Ok(Some(String::from_utf8_lossy(&kept).into_owned()))
}

/// All kinds of jobs.
#[must_use]
pub fn kinds() -> Vec<Kind> {
    [crate::analysis::kinds(), crate::known::kinds()].concat()
}

/// Serves until `stop` resolves, then lets the requests under way finish.
pub async fn serve(
    app: App,
    config: &Config,
    stop: impl Future<Output = ()> + Send + 'static,
    started: impl FnOnce(SocketAddr, Option<String>),
) -> Result<(), StartFault> {
    let listener = TcpListener::bind(config.listen)
        .await
        .map_err(|cause| StartFault::Listen { address: config.listen, cause })?;
    let key = set_up_key(&app.pool).await?;
    let listening = tokio::spawn(app.live.clone().listen(app.pool.clone()));
    let (stop_work, stopped) = tokio::sync::watch::channel(false);
    let worker = Worker::new(app.clone(), kinds());
    let working = tokio::spawn(worker.run(stopped));
    let delivering = tokio::spawn(crate::letters::deliver_for_ever(app.clone()));
    let telling = tokio::spawn(crate::api::tell_for_ever(app.clone()));
    let watching = tokio::spawn(crate::plan::watch(app.clone()));
    let fetching = tokio::spawn(crate::prices::keep_fetching(app.pool.clone(), app.clock.clone()));
    let counting = tokio::spawn(crate::yields::keep_counted(app.clone()));
    let reckoning = tokio::spawn(crate::promises::keep_reckoned(app.clone()));
    started(listener.local_addr()?, key);
    let service = super::router(app).into_make_service_with_connect_info::<SocketAddr>();
    axum::serve(listener, service).with_graceful_shutdown(stop).await?;
    // A job under way is put back, so that another copy need not wait for it to fall silent.
    let _ = stop_work.send(true);
    if tokio::time::timeout(LAST_BEAT, working).await.is_err() {
        tracing::warn!(
            "a job did not stop in time; it is taken up again when its worker stays silent"
        );
    }
    listening.abort();
    delivering.abort();
    telling.abort();
    watching.abort();
    fetching.abort();
    counting.abort();
    reckoning.abort();
    Ok(())
}
