//! Running `pg_dump` and `pg_restore`.

use std::path::Path;
use std::process::Stdio;

use percent_encoding::percent_decode_str;
use sqlx::postgres::PgConnectOptions;
use sqlx::{ConnectOptions, PgConnection};
use tokio::process::Command;

use crate::db::DbRefusal;
use crate::db::own_server::binaries::{self, Installed};
use crate::db::own_server::reason;
use crate::db::pool::unreachable_at;

/// The programs that fit a server.
pub(super) struct Programs(Installed);

impl Programs {
    /// Finds programs of the server's major version, else of the next newer one: older
    /// ones refuse the server.
    pub(super) async fn find(
        connection: &mut PgConnection,
        options: &PgConnectOptions,
    ) -> Result<Self, DbRefusal> {
        let number: i32 = sqlx::query_scalar("SELECT current_setting('server_version_num')::int")
            .fetch_one(connection)
            .await
            .map_err(unreachable_at(options))?;
        let needed = u32::try_from(number / 10_000).unwrap_or(0);
        binaries::installed(&["pg_dump", "pg_restore"])
            .into_iter()
            .filter(|one| one.major >= needed)
            .min_by_key(|one| one.major)
            .map(Self)
            .ok_or(DbRefusal::NoBackupPrograms { needed })
    }

    /// Writes the whole database into an existing file.
    pub(super) async fn dump(
        &self,
        options: &PgConnectOptions,
        file: &Path,
    ) -> Result<(), DbRefusal> {
        let mut command = self.command("pg_dump", options);
        command.args(["--format=custom", "--no-owner", "--no-privileges"]);
        command.arg("--lock-wait-timeout=60s").arg("--file").arg(file);
        run(command).await.map_err(|said| DbRefusal::BackupFailed { said })
    }

    /// Reads a file into an empty database, all or nothing.
    pub(super) async fn restore(
        &self,
        options: &PgConnectOptions,
        file: &Path,
    ) -> Result<(), DbRefusal> {
        let mut command = self.command("pg_restore", options);
        command.args(["--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction"]);
        // Named with its folder, a file cannot be taken for an option.
        let file = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
        command.arg("--dbname").arg(database_of(options)).arg(file);
        run(command).await.map_err(|said| DbRefusal::RestoreFailed { said })
    }

    /// A command that knows the way to the database from its environment, where other
    /// users cannot read the password.
    fn command(&self, program: &str, options: &PgConnectOptions) -> Command {
        let mut command = Command::new(self.0.program(program));
        command
            .env("LC_ALL", "C")
            .env("PGPORT", options.get_port().to_string())
            .env("PGUSER", options.get_username())
            .env("PGDATABASE", database_of(options))
            .env("PGAPPNAME", "pourday")
            .env_remove("PGOPTIONS")
            .env_remove("PGSERVICE")
            .env_remove("PGHOSTADDR")
            .arg("--no-password")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .kill_on_drop(true);
        match options.get_socket() {
            Some(folder) => command.env("PGHOST", folder),
            None => command.env("PGHOST", options.get_host()),
        };
        if let Some(password) = options.to_url_lossy().password() {
            command.env("PGPASSWORD", &*percent_decode_str(password).decode_utf8_lossy());
        }
        command
    }
}

fn database_of(options: &PgConnectOptions) -> &str {
    options.get_database().unwrap_or_else(|| options.get_username())
}

async fn run(mut command: Command) -> Result<(), String> {
    let output = command.output().await.map_err(|cause| cause.to_string())?;
    if output.status.success() {
        return Ok(());
    }
    Err(reason(&String::from_utf8_lossy(&output.stderr)))
}
