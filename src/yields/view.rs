//! Counts of good and failed pieces.

use foundry::yields::Tally;
use sqlx::{AssertSqlSafe, FromRow, PgPool};

use super::by::By;
use crate::clock::{Day, Moment};
use crate::pieces::Stage;

/// Which pieces are counted.
#[derive(Clone, Debug, Default)]
pub(super) struct Which {
    /// At this stage; none for the whole way.
    pub(super) stage: Option<Stage>,
    /// Settled on this day or later.
    pub(super) from: Option<Day>,
    /// Settled before this day.
    pub(super) before: Option<Day>,
}

impl Which {
    fn stage_name(&self) -> &'static str {
        self.stage.map_or("", Stage::name)
    }
}

/// What is counted, and how it came out.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Count<T> {
    pub(super) what: T,
    good: i64,
    bad: i64,
}

impl<T> Count<T> {
    pub(super) fn tally(&self) -> Tally {
        let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
        Tally { good: whole(self.good), bad: whole(self.bad) }
    }
}

const BETWEEN: &str = "($2::date IS NULL OR on_day >= $2) AND ($3::date IS NULL OR on_day < $3)";

/// Good and failed ones by group; pieces of which it was not recorded are left out.
pub(super) async fn by(
    pool: &PgPool,
    which: &Which,
    by: By,
) -> Result<Vec<Count<String>>, sqlx::Error> {
    // Two groups may be called the same: they are one on the page.
    let sql = format!(
        "SELECT what, sum(good)::bigint AS good, sum(bad)::bigint AS bad FROM (
            SELECT {} AS what, good, bad FROM (
                SELECT what AS k, sum(good) AS good, sum(bad) AS bad FROM yield_counts
                WHERE stage = $1 AND by = '{}' AND {BETWEEN} GROUP BY what OFFSET 0) groups OFFSET 0) called
         WHERE what IS NOT NULL GROUP BY what ORDER BY sum(good + bad) DESC, what LIMIT 200",
        by.called(),
        by.name()
    );
    sqlx::query_as(AssertSqlSafe(sql))
        .bind(which.stage_name())
        .bind(which.from)
        .bind(which.before)
        .fetch_all(pool)
        .await
}

/// Good and failed ones at each stage.
pub(super) async fn stages(pool: &PgPool, which: &Which) -> Result<Vec<Count<Stage>>, sqlx::Error> {
    let mut counts: Vec<Count<Stage>> = sqlx::query_as(
        "SELECT stage AS what, sum(good)::bigint AS good, sum(bad)::bigint AS bad FROM yield_counts
         WHERE stage = ANY($3) AND by = '' AND ($1::date IS NULL OR on_day >= $1) AND ($2::date IS NULL OR on_day < $2)
         GROUP BY stage",
    )
    .bind(which.from)
    .bind(which.before)
    .bind(Stage::ALL.map(Stage::name))
    .fetch_all(pool)
    .await?;
    counts.sort_by_key(|count| count.what as usize);
    Ok(counts)
}

/// Good and failed ones by week, named by its Monday.
pub(super) async fn weeks(pool: &PgPool, which: &Which) -> Result<Vec<Count<Day>>, sqlx::Error> {
    let sql = format!(
        "SELECT date_trunc('week', on_day)::date AS what, sum(good)::bigint AS good, sum(bad)::bigint AS bad
         FROM yield_counts WHERE stage = $1 AND by = '' AND {BETWEEN} GROUP BY 1 ORDER BY 1 DESC LIMIT 52"
    );
    let mut weeks: Vec<Count<Day>> = sqlx::query_as(AssertSqlSafe(sql))
        .bind(which.stage_name())
        .bind(which.from)
        .bind(which.before)
        .fetch_all(pool)
        .await?;
    weeks.reverse();
    Ok(weeks)
}

/// Why pieces failed, and how many, between two moments.
pub(super) async fn causes(
    pool: &PgPool,
    stage: Option<Stage>,
    from: Option<Moment>,
    before: Option<Moment>,
) -> Result<Vec<(String, i64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT failed_at_stage || ': ' || cause, count(*) FROM attempts
         WHERE outcome = 'failed' AND ($1::text IS NULL OR failed_at_stage = $1)
           AND ($2::timestamptz IS NULL OR ended_at >= $2) AND ($3::timestamptz IS NULL OR ended_at < $3)
         GROUP BY failed_at_stage, cause ORDER BY 2 DESC, 1",
    )
    .bind(stage.map(Stage::name))
    .bind(from)
    .bind(before)
    .fetch_all(pool)
    .await
}
