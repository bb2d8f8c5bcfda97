//! All SQL that writes forecasts and what verdicts are taken to mean.

use sqlx::PgConnection;

use super::margin::{Limits, drawn};
use super::model::{Said, Verdict, What};
use crate::clock::Moment;
use crate::id::{AttemptId, DesignVersionId};

/// Keeps what was forecast of a design with castings of it; one that has a forecast keeps it.
pub async fn keep(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
    version: DesignVersionId,
    said: &[Said],
    now: Moment,
) -> Result<(), sqlx::Error> {
    for each in said {
        sqlx::query(
            "INSERT INTO forecasts (attempt_id, what, verdict, own, design_version_id, figures, at)
             SELECT attempt, $2, $3, $7, $4, $5, $6 FROM unnest($1::uuid[]) attempt ON CONFLICT DO NOTHING",
        )
        .bind(attempts)
        .bind(each.what)
        .bind(each.verdict)
        .bind(version)
        .bind(&each.figures)
        .bind(now)
        .bind(each.own)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Takes a verdict to mean a chance, if it is still taken to mean the other one; says whether it
/// was. What the verdict claims by its words alone is no setting.
pub async fn set_chance(
    conn: &mut PgConnection,
    what: What,
    verdict: Verdict,
    was: f64,
    chance: f64,
) -> Result<bool, sqlx::Error> {
    let held: Option<f64> = sqlx::query_scalar(
        "SELECT chance FROM forecast_chances WHERE what = $1 AND verdict = $2 FOR UPDATE",
    )
    .bind(what)
    .bind(verdict)
    .fetch_optional(&mut *conn)
    .await?;
    if (held.unwrap_or(verdict.claims()) - was).abs() > 1e-5 {
        return Ok(false);
    }
    let sql = if (chance - verdict.claims()).abs() < 1e-9 {
        "DELETE FROM forecast_chances WHERE what = $1 AND verdict = $2 AND $3::double precision IS NOT NULL"
    } else {
        "INSERT INTO forecast_chances (what, verdict, chance) VALUES ($1, $2, $3)
         ON CONFLICT (what, verdict) DO UPDATE SET chance = EXCLUDED.chance"
    };
    sqlx::query(sql).bind(what).bind(verdict).bind(chance).execute(conn).await?;
    Ok(true)
}

/// This studio's limits, as far as they were taken over.
pub async fn limits(conn: &mut PgConnection) -> Result<Limits, sqlx::Error> {
    let rows: Vec<(What, Verdict, f64)> =
        sqlx::query_as("SELECT what, verdict, limit_at FROM forecast_limits")
            .fetch_all(conn)
            .await?;
    let mut limits = Limits::default();
    for (what, verdict, at) in rows {
        let own = match what {
            What::Fill => &mut limits.fill,
            What::Feed => &mut limits.feed,
        };
        match verdict {
            Verdict::Yes => own.yes = Some(at),
            Verdict::No => own.no = Some(at),
            Verdict::Doubtful => {}
        }
    }
    Ok(limits)
}

/// Moves the limit of a verdict, if it still lies where it did; says whether it was. Where the
/// calculation draws the line it is no setting.
pub async fn set_limit(
    conn: &mut PgConnection,
    what: What,
    verdict: Verdict,
    was: f64,
    at: f64,
) -> Result<bool, sqlx::Error> {
    let held: Option<f64> = sqlx::query_scalar(
        "SELECT limit_at FROM forecast_limits WHERE what = $1 AND verdict = $2 FOR UPDATE",
    )
    .bind(what)
    .bind(verdict)
    .fetch_optional(&mut *conn)
    .await?;
    if (held.unwrap_or(drawn(what, verdict)) - was).abs() > 1e-5 {
        return Ok(false);
    }
    let sql = if (at - drawn(what, verdict)).abs() < 1e-9 {
        "DELETE FROM forecast_limits WHERE what = $1 AND verdict = $2 AND $3::double precision IS NOT NULL"
    } else {
        "INSERT INTO forecast_limits (what, verdict, limit_at) VALUES ($1, $2, $3)
         ON CONFLICT (what, verdict) DO UPDATE SET limit_at = EXCLUDED.limit_at"
    };
    sqlx::query(sql).bind(what).bind(verdict).bind(at).execute(conn).await?;
    Ok(true)
}
