//! The counts by day: those marked since are counted again before anything is read.

use sqlx::{AssertSqlSafe, PgPool};

use super::by::By;
use crate::clock::Day;

/// So many days are counted in one go; the first reading after a long time takes several.
const DAYS_AT_ONCE: i64 = 60;

/// Any number; held while days are counted, so that two readers do not count the same.
const COUNTING: i64 = 0x706f_7572_6461_7901;

/// What has come out on the days `$1`, by attempt and stage; the whole way is no stage.
const SETTLED: &str = "days AS (SELECT d AS on_day, d::timestamp AT TIME ZONE z.zone AS from_at, (d + 1)::timestamp AT TIME ZONE z.zone AS to_at
        FROM unnest($1::date[]) d, (SELECT coalesce((SELECT time_zone FROM studio), 'UTC') AS zone) z),
    b AS (SELECT on_day, attempt_id, stage::text AS stage, failed_at IS NOT NULL AS bad FROM days JOIN attempt_stages
            ON coalesce(failed_at, finished_at) >= from_at AND coalesce(failed_at, finished_at) < to_at
        UNION ALL
        SELECT on_day, id, '', outcome = 'failed' FROM days JOIN attempts
            ON ended_at >= from_at AND ended_at < to_at AND outcome IN ('good', 'failed'))";

/// Counts every marked day again.
pub(super) async fn count_marked_days(pool: &PgPool) -> Result<(), sqlx::Error> {
    loop {
        // Mostly nothing is marked, and nobody waits for anybody.
        let marked: bool =
            sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM yield_marks)").fetch_one(pool).await?;
        if !marked {
            return Ok(());
        }
        let mut tx = pool.begin().await?;
        sqlx::query("SELECT pg_advisory_xact_lock($1)").bind(COUNTING).execute(&mut *tx).await?;
        // A mark that is not committed yet is not seen, and stays for the next reader.
        let days: Vec<Day> = sqlx::query_scalar(
            "WITH chosen AS (SELECT DISTINCT on_day FROM yield_marks ORDER BY on_day DESC LIMIT $1),
                  taken AS (DELETE FROM yield_marks m USING chosen WHERE m.on_day = chosen.on_day)
             SELECT on_day FROM chosen",
        )
        .bind(DAYS_AT_ONCE)
        .fetch_all(&mut *tx)
        .await?;
        sqlx::query("DELETE FROM yield_counts WHERE on_day = ANY($1)")
            .bind(&days)
            .execute(&mut *tx)
            .await?;
        let groups = By::ALL.map(|by| (by.name(), by.group()));
        for (by, group) in [("", "''")].into_iter().chain(groups) {
            let sql = format!(
                "WITH {SETTLED}, told AS MATERIALIZED (SELECT on_day, stage, {group} AS what, bad FROM b)
                 INSERT INTO yield_counts (on_day, stage, by, what, good, bad)
                 SELECT on_day, stage, '{by}', what, count(*) FILTER (WHERE NOT bad), count(*) FILTER (WHERE bad)
                 FROM told WHERE what IS NOT NULL GROUP BY on_day, stage, what"
            );
            sqlx::query(AssertSqlSafe(sql)).bind(&days).execute(&mut *tx).await?;
        }
        tx.commit().await?;
    }
}
