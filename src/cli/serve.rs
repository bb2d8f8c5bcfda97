//! `pourday serve`

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;
use sqlx::PgPool;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

use super::{CliFault, Where, block_on};
use crate::clock::Clock;
use crate::db;
use crate::letters;
use crate::server::{self, Config};
use crate::vault::Vault;

#[derive(Args, Debug)]
pub(crate) struct Serve {
    #[command(flatten)]
    place: Where,
    /// The address to listen on
    #[arg(long, env = "POURDAY_LISTEN", default_value = "127.0.0.1:7373")]
    listen: SocketAddr,
    /// The file of the key that seals the password of the mail server; made when it is not there.
    /// It lies beside Pourday's own database, or is given; every copy of the program needs the same
    #[arg(long, env = "POURDAY_KEY_FILE")]
    key_file: Option<PathBuf>,
    /// Send cookies over TLS only; set it when a TLS proxy stands in front
    #[arg(long, env = "POURDAY_SECURE_COOKIES")]
    secure_cookies: bool,
}

impl Serve {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let key_file = self.key_file.or_else(|| self.place.key_file());
        let config = Config { listen: self.listen, secure_cookies: self.secure_cookies };
        block_on(serve(
            (self.place, key_file),
            config,
            async |_| Ok(true),
            |address, key| {
                say(&format!("Pourday is open at http://{address}/"));
                if let Some(key) = key {
                    say(&format!("Nobody works here yet: http://{address}/first-owner?key={key}"));
                }
            },
        ))
    }
}

pub(super) fn say(line: &str) {
    #[expect(clippy::print_stdout, reason = "what a start tells whoever started it")]
    {
        println!("{line}");
    }
}

/// Opens the database, serves until told to stop, and closes the database after
/// the last request. `prepare` may work on the migrated database first, and may
/// say that it is not to be served.
pub(super) async fn serve(
    (place, key_file): (Where, Option<PathBuf>),
    config: Config,
    prepare: impl AsyncFnOnce(&PgPool) -> Result<bool, CliFault>,
    started: impl FnOnce(SocketAddr, Option<String>),
) -> Result<(), CliFault> {
    let filter =
        EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,pourday=info"));
    // A second logger in one process is a test's doing; the first one stays.
    let _ =
        tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).try_init();
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut stop = Box::pin(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    });
    let database = db::connect(place.source()).await?;
    let prepared = async {
        db::migrate(&database.pool).await?;
        prepare(&database.pool).await
    };
    let prepared = tokio::select! {
        prepared = prepared => prepared,
        () = &mut stop => Ok(false),
    };
    let served = match prepared {
        Ok(true) => {
            let mut app =
                server::open(database.pool.clone(), Clock::system(), config.secure_cookies).await?;
            if let Some(place) = &key_file {
                app.vault = Vault::at(place).map_err(|fault| {
                    CliFault::Refused(format!("the key file {}: {fault}", place.display()))
                })?;
            }
            letters::seal_kept_password(&app).await?;
            server::serve(app, &config, stop, started).await.map_err(CliFault::from)
        }
        Ok(false) => Ok(()),
        Err(fault) => Err(fault),
    };
    database.close().await?;
    served
}
