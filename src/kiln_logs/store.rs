//! All SQL of logs.

use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgExecutor};

use super::form::LogForm;
use crate::clock::Moment;
use crate::id::{FileId, KilnId, KilnLoadId, KilnLogId, PersonId};

/// A log of a load.
#[derive(Clone, Debug, FromRow)]
pub struct LogRow {
    /// The log.
    pub id: KilnLogId,
    /// Its content.
    pub file_id: FileId,
    /// The name it came with.
    pub file_name: String,
    /// How it is read.
    pub form: Json<LogForm>,
    /// When it came.
    pub added_at: Moment,
    /// From whom.
    pub person: Option<String>,
    /// When another took its place.
    pub replaced_at: Option<Moment>,
}

const COLUMNS: &str =
    "SELECT g.id, g.file_id, g.file_name, g.form, g.added_at, p.name AS person, g.replaced_at
    FROM kiln_logs g LEFT JOIN people p ON p.id = g.added_by";

/// The log of a load that counts.
pub async fn current(
    db: impl PgExecutor<'_>,
    load: KilnLoadId,
) -> Result<Option<LogRow>, sqlx::Error> {
    let sql = format!("{COLUMNS} WHERE g.kiln_load_id = $1 AND g.replaced_at IS NULL");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(load).fetch_optional(db).await
}

/// All logs of a load, newest first.
pub async fn history(
    db: impl PgExecutor<'_>,
    load: KilnLoadId,
) -> Result<Vec<LogRow>, sqlx::Error> {
    let sql =
        format!("{COLUMNS} WHERE g.kiln_load_id = $1 ORDER BY g.added_at DESC, g.id DESC LIMIT 50");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(load).fetch_all(db).await
}

/// The log of a load that counts, held until the commit.
pub async fn lock_current(
    conn: &mut PgConnection,
    load: KilnLoadId,
) -> Result<Option<KilnLogId>, sqlx::Error> {
    sqlx::query("SELECT 1 FROM kiln_loads WHERE id = $1 FOR UPDATE")
        .bind(load)
        .execute(&mut *conn)
        .await?;
    sqlx::query_scalar("SELECT id FROM kiln_logs WHERE kiln_load_id = $1 AND replaced_at IS NULL")
        .bind(load)
        .fetch_optional(conn)
        .await
}

async fn replace(
    conn: &mut PgConnection,
    load: KilnLoadId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_logs SET replaced_at = $2 WHERE kiln_load_id = $1 AND replaced_at IS NULL",
    )
    .bind(load)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// A log that has come.
#[derive(Clone, Copy, Debug)]
pub struct NewLog<'a> {
    /// Whose firing it shows.
    pub load: KilnLoadId,
    /// Its content.
    pub file: FileId,
    /// Its name.
    pub name: &'a str,
    /// How it is read.
    pub form: &'a LogForm,
}

/// Takes a log; the one before it is kept and counts no more.
pub async fn add(
    conn: &mut PgConnection,
    log: &NewLog<'_>,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    lock_current(conn, log.load).await?;
    replace(conn, log.load, now).await?;
    sqlx::query(
        "INSERT INTO kiln_logs (id, kiln_load_id, file_id, file_name, form, added_at, added_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(KilnLogId::new())
    .bind(log.load)
    .bind(log.file)
    .bind(log.name)
    .bind(Json(log.form))
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// Lets an earlier log count again.
pub async fn put_back(
    conn: &mut PgConnection,
    load: KilnLoadId,
    log: KilnLogId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let known: bool = sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM kiln_logs WHERE id = $1 AND kiln_load_id = $2)",
    )
    .bind(log)
    .bind(load)
    .fetch_one(&mut *conn)
    .await?;
    if !known {
        return Err(sqlx::Error::RowNotFound);
    }
    lock_current(conn, load).await?;
    replace(conn, load, now).await?;
    sqlx::query("UPDATE kiln_logs SET replaced_at = NULL WHERE id = $1")
        .bind(log)
        .execute(conn)
        .await?;
    Ok(())
}

/// The file of a log as it came.
pub async fn file_of(conn: &mut PgConnection, log: KilnLogId) -> Result<FileId, sqlx::Error> {
    sqlx::query_scalar("SELECT file_id FROM kiln_logs WHERE id = $1")
        .bind(log)
        .fetch_one(conn)
        .await
}

/// Changes how a log is read.
pub async fn read_otherwise(
    conn: &mut PgConnection,
    log: KilnLogId,
    form: &LogForm,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE kiln_logs SET form = $2 WHERE id = $1")
        .bind(log)
        .bind(Json(form))
        .execute(conn)
        .await?;
    Ok(())
}

/// How the logs of a kiln are read, once that was chosen.
pub async fn form_of_kiln(
    db: impl PgExecutor<'_>,
    kiln: KilnId,
) -> Result<Option<LogForm>, sqlx::Error> {
    let form: Option<Json<LogForm>> =
        sqlx::query_scalar("SELECT form FROM kiln_log_forms WHERE kiln_id = $1")
            .bind(kiln)
            .fetch_optional(db)
            .await?;
    Ok(form.map(|form| form.0))
}

/// Remembers how the logs of a kiln are read.
pub async fn remember_for_kiln(
    conn: &mut PgConnection,
    kiln: KilnId,
    form: &LogForm,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO kiln_log_forms (kiln_id, form, set_at) VALUES ($1, $2, $3)
         ON CONFLICT (kiln_id) DO UPDATE SET form = EXCLUDED.form, set_at = EXCLUDED.set_at",
    )
    .bind(kiln)
    .bind(Json(form.of_the_kiln()))
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}
