//! Saving the whole studio in one file, and bringing it back.
//!
//! Everything a studio has lies in its database, model files and photos too, so a backup
//! is one dump in PostgreSQL's own format (`pg_restore` reads it without Pourday) and a
//! last line of ours by which a file that was cut short or spoilt is known before anything
//! is touched. It is taken at one instant while work goes on.
//!
//! A backup is read into a database beside the studio's; only when it is whole and its
//! tables are up to date do the two change names, in one transaction. A failure at any
//! moment leaves the studio as it was, and what was replaced is kept until the next
//! restore ([`undo_restore`]).

mod file;
mod programs;
mod swap;

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{ConnectOptions, PgConnection, PgPool};

use self::file::Seal;
use self::programs::Programs;
use self::swap::Swap;
use super::pool::{connect_or_join, in_thread, unreachable_at};
use crate::clock::Moment;

use super::{Database, DbRefusal, Source, connect, migrate};

/// A backup that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackupReport {
    /// The file.
    pub file: PathBuf,
    /// Its length.
    pub bytes: u64,
    /// The last migration of the database in it.
    pub step: i64,
    /// The instant it was begun; it holds all that was committed before.
    pub made_at: Timestamp,
}

/// A backup that was restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RestoreReport {
    /// When the backup was made.
    pub made_at: Timestamp,
    /// The database that keeps what was replaced, until the next restore.
    pub former: Option<String>,
}

/// Saves the whole studio in `file`; Pourday may be running meanwhile.
///
/// # Errors
/// The database cannot be reached, `pg_dump` is missing, or the file exists already or
/// cannot be written. No part of a file is left behind.
pub async fn back_up(source: Source, file: &Path) -> Result<BackupReport, DbRefusal> {
    let database = connect_or_join(source).await?;
    let report = back_up_database(&database, file).await;
    let closed = database.close().await;
    let report = report?;
    closed?;
    Ok(report)
}

/// [`back_up`] of a database already connected.
///
/// # Errors
/// As [`back_up`].
pub async fn back_up_database(database: &Database, file: &Path) -> Result<BackupReport, DbRefusal> {
    let options = database.options();
    let mut connection = options.connect().await.map_err(unreachable_at(options))?;
    let step = step_of(&mut connection).await.map_err(unreachable_at(options))?;
    let programs = Programs::find(&mut connection, options).await?;
    // The database's clock, because its commits are what the moment divides.
    let Moment(made_at) = sqlx::query_scalar("SELECT now()")
        .fetch_one(&mut connection)
        .await
        .map_err(unreachable_at(options))?;
    drop(connection);
    let part = file::Part::begin(file)?;
    programs.dump(options, part.path()).await?;
    let bytes = in_thread(move || part.finish(&Seal { step, made_at })).await?;
    Ok(BackupReport { file: file.to_owned(), bytes, step, made_at })
}

/// Replaces the studio by the one in `file`. Pourday must not be running on it.
///
/// Without `replace`, only a studio that holds no more than a new one is replaced.
///
/// # Errors
/// The file is damaged or from a newer Pourday, the studio is not empty or in use, or
/// PostgreSQL refuses. The studio is then as it was before.
pub async fn restore(
    source: Source,
    file: &Path,
    replace: bool,
) -> Result<RestoreReport, DbRefusal> {
    let seal = {
        let file = file.to_owned();
        in_thread(move || file::check(&file)).await?
    };
    let database = connect(source).await?;
    let done = restore_into(&database, file, &seal, replace).await;
    let closed = database.close().await;
    let former = done?;
    closed?;
    Ok(RestoreReport { made_at: seal.made_at, former })
}

/// Brings back the studio that the last [`restore`] replaced, and keeps the other in its
/// place, so that doing it twice changes nothing.
///
/// # Errors
/// Nothing was replaced, or the studio is in use.
pub async fn undo_restore(source: Source) -> Result<(), DbRefusal> {
    let database = connect(source).await?;
    let done = async {
        let mut swap = Swap::begin(database.options()).await?;
        swap.check_unused().await?;
        database.pool.close().await;
        swap.undo().await
    }
    .await;
    let closed = database.close().await;
    done?;
    closed
}

async fn restore_into(
    database: &Database,
    file: &Path,
    seal: &Seal,
    replace: bool,
) -> Result<Option<String>, DbRefusal> {
    let program = super::migrate::newest_known();
    if seal.step > program {
        return Err(DbRefusal::NewerThanProgram { database: seal.step, program });
    }
    let options = database.options();
    let mut connection = options.connect().await.map_err(unreachable_at(options))?;
    let programs = Programs::find(&mut connection, options).await?;
    let counts = row_counts(&mut connection).await.map_err(unreachable_at(options))?;
    drop(connection);
    let mut swap = Swap::begin(options).await?;
    swap.check_unused().await?;
    if !replace && let Some(holds) = more_than_a_new_studio(&counts, &mut swap).await? {
        return Err(DbRefusal::StudioNotEmpty { holds });
    }
    let fresh = swap.make_fresh().await?;
    let filled = fill(&programs, &fresh, file).await;
    if let Err(refusal) = filled {
        swap.drop_fresh().await;
        return Err(refusal);
    }
    database.pool.close().await;
    // Without `replace` it is known by now to hold no more than a new one.
    swap.replace(replace && !counts.is_empty()).await
}

async fn fill(programs: &Programs, fresh: &PgConnectOptions, file: &Path) -> Result<(), DbRefusal> {
    programs.restore(fresh, file).await?;
    bring_up_to_date(fresh).await
}

async fn bring_up_to_date(fresh: &PgConnectOptions) -> Result<(), DbRefusal> {
    let pool = PgPoolOptions::new().max_connections(1).connect_lazy_with(fresh.clone());
    let migrated = migrate(&pool).await;
    PgPool::close(&pool).await;
    migrated
}

/// The first table that holds more or fewer rows than in a new studio, with its count.
async fn more_than_a_new_studio(
    counts: &[(String, i64)],
    swap: &mut Swap,
) -> Result<Option<String>, DbRefusal> {
    if counts.is_empty() {
        return Ok(None);
    }
    // Migrations may put rows into tables, so a new studio is made to compare with.
    let fresh = swap.make_fresh().await?;
    let compared = async {
        bring_up_to_date(&fresh).await?;
        let mut connection = fresh.connect().await.map_err(unreachable_at(&fresh))?;
        row_counts(&mut connection).await.map_err(unreachable_at(&fresh))
    }
    .await;
    swap.drop_fresh().await;
    let new = compared?;
    let differs = counts.iter().find(|count| !new.contains(count));
    Ok(differs.map(|(table, rows)| format!("{rows} rows in {table}")))
}

/// The tables that hold rows, with how many, leaving out the record of migrations.
async fn row_counts(connection: &mut PgConnection) -> sqlx::Result<Vec<(String, i64)>> {
    let tables: Vec<String> = sqlx::query_scalar(
        "SELECT format('%I.%I', schemaname, tablename) FROM pg_tables \
         WHERE schemaname NOT IN ('pg_catalog', 'information_schema') \
         AND tablename <> '_sqlx_migrations' ORDER BY 1",
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut counts = Vec::new();
    for table in tables {
        // The name was quoted by PostgreSQL itself.
        let count = sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}"));
        let rows: i64 = sqlx::query_scalar(count).fetch_one(&mut *connection).await?;
        if rows > 0 {
            counts.push((table, rows));
        }
    }
    Ok(counts)
}

async fn step_of(connection: &mut PgConnection) -> sqlx::Result<i64> {
    let migrated: bool = sqlx::query_scalar("SELECT to_regclass('_sqlx_migrations') IS NOT NULL")
        .fetch_one(&mut *connection)
        .await?;
    if !migrated {
        return Ok(0);
    }
    sqlx::query_scalar("SELECT coalesce(max(version), 0) FROM _sqlx_migrations")
        .fetch_one(connection)
        .await
}
