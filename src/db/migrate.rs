//! Bringing the tables up to what this program expects.

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::{ConnectOptions, Connection, PgConnection, PgPool};

use super::DbRefusal;
use super::pool::unreachable_at;

/// The steps in `migrations/`, as they were when the program was built.
static STEPS: Migrator = sqlx::migrate!("./migrations");

/// Takes every step the database has not taken yet, each in a transaction of its own.
///
/// Copies of the program that start together wait for one another: the steps are taken
/// under a lock of the database.
///
/// # Errors
/// The database is newer than the program, was made by another build, or a step failed;
/// a failed step leaves the data as they were.
pub async fn migrate(pool: &PgPool) -> Result<(), DbRefusal> {
    migrate_with(pool, &STEPS).await
}

/// [`migrate`] with other steps than the program's own.
///
/// # Errors
/// As [`migrate`].
pub async fn migrate_with(pool: &PgPool, steps: &Migrator) -> Result<(), DbRefusal> {
    // A connection of its own, because the pool's have limits a step may need to exceed,
    // and because its end releases the lock whatever happens.
    let options = (*pool.connect_options()).clone();
    let refuse = unreachable_at(&options);
    let mut connection = options
        .options([
            ("statement_timeout", "0"),
            ("lock_timeout", "0"),
            ("idle_in_transaction_session_timeout", "0"),
        ])
        .connect()
        .await
        .map_err(&refuse)?;
    let result = run(&mut connection, steps).await;
    // How closing goes does not matter after the commit.
    let _closed = connection.close().await;
    result
}

/// The last step this program knows, 0 if there is none.
pub(super) fn newest_known() -> i64 {
    newest_of(&STEPS)
}

fn newest_of(steps: &Migrator) -> i64 {
    steps.iter().map(|step| step.version).max().unwrap_or(0)
}

async fn run(connection: &mut PgConnection, steps: &Migrator) -> Result<(), DbRefusal> {
    let program = newest_of(steps);
    match steps.run_direct(None, connection, false).await {
        Ok(()) => Ok(()),
        Err(MigrateError::VersionMissing(database)) if database > program => {
            let newest = newest_step(connection).await.unwrap_or(database);
            Err(DbRefusal::NewerThanProgram { database: newest, program })
        }
        Err(MigrateError::VersionMissing(version) | MigrateError::VersionMismatch(version)) => {
            Err(DbRefusal::MigrationDiffers { version })
        }
        Err(MigrateError::ExecuteMigration(cause, version)) => {
            Err(DbRefusal::MigrationFailed { version, cause })
        }
        Err(MigrateError::Execute(cause)) => Err(DbRefusal::MigrationFailed { version: 0, cause }),
        Err(other) => {
            let cause = sqlx::Error::Migrate(Box::new(other));
            Err(DbRefusal::MigrationFailed { version: 0, cause })
        }
    }
}

async fn newest_step(connection: &mut PgConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations").fetch_one(connection).await
}
