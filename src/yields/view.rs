//! Counts of good and failed pieces.

use foundry::yields::Tally;
use sqlx::{AssertSqlSafe, FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::pieces::Stage;

/// By what pieces are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum By {
    Lot,
    Profile,
    Supports,
    Programme,
    Alloy,
    Kiln,
    Person,
}

impl By {
    pub(super) const ALL: [Self; 7] = [
        Self::Lot,
        Self::Profile,
        Self::Supports,
        Self::Programme,
        Self::Alloy,
        Self::Kiln,
        Self::Person,
    ];

    /// The word in addresses.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Lot => "lot",
            Self::Profile => "profile",
            Self::Supports => "supports",
            Self::Programme => "programme",
            Self::Alloy => "alloy",
            Self::Kiln => "kiln",
            Self::Person => "person",
        }
    }

    /// The words on the page.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Lot => "Resin lot",
            Self::Profile => "Printer and profile",
            Self::Supports => "Supports",
            Self::Programme => "Burnout programme",
            Self::Alloy => "Alloy",
            Self::Kiln => "Kiln",
            Self::Person => "Who recorded it",
        }
    }

    /// Where the name of the group comes from, given the attempt `b`. What was taken off a plate
    /// before it was printed, or off a flask before it was filled, was not on it.
    const fn name_of_group(self) -> &'static str {
        match self {
            Self::Lot => "(SELECT r.name || ', lot ' || l.lot FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                JOIN resin_lots l ON l.id = p.resin_lot_id JOIN resins r ON r.id = l.resin_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Profile => "(SELECT m.name || ', ' || p.layer_um || ' µm, ' || p.exposure_s || ' s' FROM plate_pieces pp
                JOIN plates p ON p.id = pp.plate_id JOIN printers m ON m.id = p.printer_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Supports => "(SELECT p.supports FROM plate_pieces pp JOIN plates p ON p.id = pp.plate_id
                WHERE pp.attempt_id = b.attempt_id AND p.state IN ('printing', 'done')
                  AND (pp.left_at IS NULL OR pp.left_at > p.started_at) ORDER BY p.started_at DESC LIMIT 1)",
            Self::Programme => "(SELECT n.name FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
                JOIN burnout_families n ON n.id = f.family_id
                WHERE fp.attempt_id = b.attempt_id AND f.state <> 'cancelled'
                  AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at) ORDER BY f.created_at DESC LIMIT 1)",
            Self::Alloy => "(SELECT a.name FROM attempts t JOIN pieces p ON p.id = t.piece_id
                JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id WHERE t.id = b.attempt_id)",
            Self::Kiln => "(SELECT k.name FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id JOIN kiln_load_flasks lf ON lf.flask_id = fp.flask_id
                JOIN kiln_loads l ON l.id = lf.kiln_load_id JOIN kilns k ON k.id = l.kiln_id
                WHERE fp.attempt_id = b.attempt_id AND (fp.left_at IS NULL OR fp.left_at > f.mixed_at)
                  AND (lf.left_at IS NULL OR lf.left_at > l.started_at) AND l.started_at IS NOT NULL ORDER BY l.started_at DESC LIMIT 1)",
            Self::Person => "(SELECT w.name FROM piece_events e JOIN people w ON w.id = e.person_id
                WHERE e.attempt_id = b.attempt_id AND e.kind IN ('finished', 'failed') AND ($1::text IS NULL OR e.stage = $1)
                ORDER BY e.id DESC LIMIT 1)",
        }
    }
}

/// Which pieces are counted.
#[derive(Clone, Debug, Default)]
pub(super) struct Which {
    /// At this stage; none for the whole way.
    pub(super) stage: Option<Stage>,
    /// Settled from this moment on.
    pub(super) from: Option<Moment>,
    /// Settled before this moment.
    pub(super) before: Option<Moment>,
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

/// Pieces that left a stage, or the whole way when `$1` is null, between `$2` and `$3`.
const SETTLED: &str = "WITH b AS (
        SELECT attempt_id, coalesce(failed_at, finished_at) AS at, failed_at IS NOT NULL AS bad
        FROM attempt_stages WHERE stage = $1 AND coalesce(failed_at, finished_at) IS NOT NULL
        UNION ALL
        SELECT id, ended_at, outcome = 'failed' FROM attempts WHERE $1::text IS NULL AND outcome IN ('good', 'failed')),
    s AS (SELECT * FROM b WHERE ($2::timestamptz IS NULL OR at >= $2) AND ($3::timestamptz IS NULL OR at < $3))";

/// Good and failed ones by group; pieces of which it was not recorded are left out.
pub(super) async fn by(
    pool: &PgPool,
    which: &Which,
    by: By,
) -> Result<Vec<Count<String>>, sqlx::Error> {
    let sql = format!(
        "{SETTLED}, named AS MATERIALIZED (SELECT {} AS what, bad FROM s b)
         SELECT what, count(*) FILTER (WHERE NOT bad) AS good, count(*) FILTER (WHERE bad) AS bad
         FROM named WHERE what IS NOT NULL GROUP BY what ORDER BY count(*) DESC, what LIMIT 200",
        by.name_of_group()
    );
    sqlx::query_as(AssertSqlSafe(sql))
        .bind(which.stage.map(Stage::name))
        .bind(which.from)
        .bind(which.before)
        .fetch_all(pool)
        .await
}

/// Good and failed ones at each stage.
pub(super) async fn stages(pool: &PgPool, which: &Which) -> Result<Vec<Count<Stage>>, sqlx::Error> {
    let mut counts: Vec<Count<Stage>> = sqlx::query_as(
        "SELECT stage::text AS what, count(*) FILTER (WHERE failed_at IS NULL) AS good,
                count(*) FILTER (WHERE failed_at IS NOT NULL) AS bad
         FROM attempt_stages WHERE coalesce(failed_at, finished_at) IS NOT NULL
           AND ($1::timestamptz IS NULL OR coalesce(failed_at, finished_at) >= $1)
           AND ($2::timestamptz IS NULL OR coalesce(failed_at, finished_at) < $2)
         GROUP BY stage",
    )
    .bind(which.from)
    .bind(which.before)
    .fetch_all(pool)
    .await?;
    counts.sort_by_key(|count| count.what as usize);
    Ok(counts)
}

/// Good and failed ones by week, named by its Monday.
pub(super) async fn weeks(
    pool: &PgPool,
    which: &Which,
    zone: &str,
) -> Result<Vec<Count<Day>>, sqlx::Error> {
    let sql = format!(
        "{SETTLED} SELECT date_trunc('week', at AT TIME ZONE $4)::date AS what,
            count(*) FILTER (WHERE NOT bad) AS good, count(*) FILTER (WHERE bad) AS bad
         FROM s GROUP BY 1 ORDER BY 1 DESC LIMIT 52"
    );
    let mut weeks: Vec<Count<Day>> = sqlx::query_as(AssertSqlSafe(sql))
        .bind(which.stage.map(Stage::name))
        .bind(which.from)
        .bind(which.before)
        .bind(zone)
        .fetch_all(pool)
        .await?;
    weeks.reverse();
    Ok(weeks)
}

/// Why pieces failed, and how many.
pub(super) async fn causes(
    pool: &PgPool,
    which: &Which,
) -> Result<Vec<(String, i64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT failed_at_stage || ': ' || cause, count(*) FROM attempts
         WHERE outcome = 'failed' AND ($1::text IS NULL OR failed_at_stage = $1)
           AND ($2::timestamptz IS NULL OR ended_at >= $2) AND ($3::timestamptz IS NULL OR ended_at < $3)
         GROUP BY 1 ORDER BY 2 DESC, 1",
    )
    .bind(which.stage.map(Stage::name))
    .bind(which.from)
    .bind(which.before)
    .fetch_all(pool)
    .await
}
