//! How often each verdict came true.

use foundry::working::{Worked, Working};
use foundry::yields::{Confidence, LimitSeen, Outcome, Tally, YieldRefusal, fit_limit, wilson};
use serde_json::Value;
use sqlx::types::Json;
use sqlx::{AssertSqlSafe, FromRow, PgConnection};

use super::margin::{Limits, margin};
use super::model::{LATEST, LEAST, Said, Verdict, What, borne_out, cast_for_one};
use crate::id::DesignVersionId;

/// A verdict with what became of the castings it was said of.
#[derive(Clone, Debug)]
pub struct Counted {
    /// What was forecast.
    pub what: What,
    /// The verdict.
    pub verdict: Verdict,
    /// Those that came out as hoped, and those that did not.
    pub tally: Tally,
    /// Those of which nothing is known yet, or that failed for something else.
    pub open: i64,
    /// The chance it is taken to mean, where that was taken over.
    pub taken: Option<f64>,
}

/// A share with the interval of the true one.
pub(super) struct Share {
    pub(super) share: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) working: Working,
}

impl Counted {
    /// The share that came out; none of too few.
    pub(super) fn share(&self) -> Option<Share> {
        if self.tally.total() < LEAST {
            return None;
        }
        let worked = wilson(self.tally, Confidence::NinetyFive).ok()?;
        Some(Share {
            share: worked.value.counted.percent(),
            low: worked.value.low.percent(),
            high: worked.value.high.percent(),
            working: worked.working,
        })
    }

    /// Whether what came out bears the verdict out; none while that is open.
    pub(super) fn borne_out(&self) -> Option<bool> {
        let share = self.share()?;
        borne_out(self.verdict, self.tally, share.low / 100.0, share.high / 100.0)
    }
}

/// How a casting came out as far as a forecast asks: well, not, or nothing is known of it.
fn outcome(what: What) -> String {
    let list = |words: &[&str]| {
        words.iter().map(|word| format!("'{word}'")).collect::<Vec<_>>().join(", ")
    };
    let (bad, good, from) =
        (list(what.shown_by()), list(what.in_spite_of()), list(what.told_from()));
    format!(
        "CASE WHEN (t.outcome = 'failed' AND t.failed_at_stage IN ('cast', 'finish') AND t.cause IN ({bad}))
                OR EXISTS (SELECT 1 FROM findings d WHERE d.attempt_id = t.id AND d.stage IN ('cast', 'finish') AND d.taken_back_at IS NULL AND d.what IN ({bad})) THEN false
              WHEN t.outcome = 'failed' THEN CASE WHEN t.failed_at_stage IN ({from}) AND t.cause IN ({good}) THEN true END
              WHEN EXISTS (SELECT 1 FROM attempt_stages g WHERE g.attempt_id = t.id AND g.stage = 'finish' AND g.finished_at IS NOT NULL) THEN true END"
    )
}

#[derive(FromRow)]
struct Row {
    good: i64,
    bad: i64,
    open: i64,
    taken: Option<f64>,
}

/// By what a verdict was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// By the calculation alone.
    Calculated,
    /// By this studio's limits.
    Own,
}

/// The latest castings with a verdict, of all designs or of one version.
async fn count(
    conn: &mut PgConnection,
    what: What,
    verdict: Verdict,
    way: Way,
    version: Option<DesignVersionId>,
) -> Result<Counted, sqlx::Error> {
    let narrow = if version.is_some() { "f.design_version_id = $3" } else { "$3::uuid IS NULL" };
    // What a verdict of the calculation is taken to mean says nothing of another's.
    let (column, taken) = match way {
        Way::Calculated => {
            ("verdict", "(SELECT chance FROM forecast_chances WHERE what = $1 AND verdict = $2)")
        }
        Way::Own => ("own", "NULL::double precision"),
    };
    let sql = format!(
        "SELECT count(*) FILTER (WHERE good) AS good, count(*) FILTER (WHERE NOT good) AS bad, count(*) FILTER (WHERE good IS NULL) AS open,
                {taken} AS taken
         FROM (SELECT {} AS good FROM (SELECT f.attempt_id FROM forecasts f WHERE f.what = $1 AND f.{column} = $2 AND {narrow}
                   ORDER BY f.at DESC LIMIT {LATEST}) f JOIN attempts t ON t.id = f.attempt_id) each",
        outcome(what)
    );
    let row: Row = sqlx::query_as(AssertSqlSafe(sql))
        .bind(what)
        .bind(verdict)
        .bind(version)
        .fetch_one(conn)
        .await?;
    let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    let tally = Tally { good: whole(row.good), bad: whole(row.bad) };
    Ok(Counted { what, verdict, tally, open: row.open, taken: row.taken })
}

/// Every verdict of every forecast, with what became of the castings it was said of.
pub async fn counted(conn: &mut PgConnection, way: Way) -> Result<Vec<Counted>, sqlx::Error> {
    let mut all = Vec::with_capacity(6);
    for what in What::ALL {
        for verdict in Verdict::ALL {
            all.push(count(conn, what, verdict, way, None).await?);
        }
    }
    Ok(all)
}

/// What castings tell of the limit of a forecast.
pub struct Seen {
    /// What was forecast.
    pub what: What,
    /// The castings of which both is known, how hard they were and what became of them.
    pub outcomes: Vec<Outcome>,
    /// What follows from them, or why nothing does.
    pub limit: Result<Worked<LimitSeen>, YieldRefusal>,
}

/// The latest castings of which it is known how hard they were and what became of them, and the
/// limit that follows.
pub async fn seen(conn: &mut PgConnection, what: What) -> Result<Seen, sqlx::Error> {
    let sql = format!(
        "SELECT figures, good FROM (SELECT f.figures, {} AS good FROM (SELECT f.attempt_id, f.figures FROM forecasts f WHERE f.what = $1
                   ORDER BY f.at DESC LIMIT {LATEST}) f JOIN attempts t ON t.id = f.attempt_id) each WHERE good IS NOT NULL",
        outcome(what)
    );
    let rows: Vec<(Json<Value>, bool)> =
        sqlx::query_as(AssertSqlSafe(sql)).bind(what).fetch_all(conn).await?;
    let outcomes: Vec<Outcome> = rows
        .iter()
        .filter_map(|(figures, good)| Some(Outcome { margin: margin(what, figures)?, good: *good }))
        .collect();
    let limit = fit_limit(&outcomes, Confidence::NinetyFive);
    Ok(Seen { what, outcomes, limit })
}

/// What stands beside a verdict on a design's page.
pub struct Beside {
    /// What was forecast.
    pub what: What,
    /// The verdict of the calculation alone, where that shown was given by this studio's limits.
    pub instead_of: Option<Verdict>,
    /// The chance by those limits.
    pub chance: Option<f64>,
    /// In the whole studio.
    pub everywhere: Counted,
    /// Of this version.
    pub here: Counted,
}

impl Beside {
    /// A sentence: `Of 14 pieces said doubtful, 9 filled`.
    #[must_use]
    pub fn sentence(counted: &Counted) -> String {
        let Tally { good, .. } = counted.tally;
        let pieces = match counted.tally.total() {
            1 => "Of 1 piece".to_owned(),
            n => format!("Of {n} pieces"),
        };
        let said = counted.verdict.words(counted.what).to_lowercase();
        format!("{pieces} said “{said}”, {good} {}", counted.what.came_out())
    }

    /// The share in per cent with the ends of its interval; none of too few.
    #[must_use]
    pub fn share(&self) -> Option<(f64, f64, f64, Working)> {
        let share = self.everywhere.share()?;
        Some((share.share, share.low, share.high, share.working))
    }

    /// How many to cast for nine chances in ten that one comes out, by the chance that was taken
    /// over.
    #[must_use]
    pub fn cast_for_one(&self) -> Option<u32> {
        cast_for_one(self.chance.or(self.everywhere.taken)?)
    }
}

/// What stands beside a verdict on the page of a version.
pub async fn beside(
    conn: &mut PgConnection,
    said: &Said,
    limits: &Limits,
    version: DesignVersionId,
) -> Result<Beside, sqlx::Error> {
    let (what, verdict) = (said.what, said.shown());
    let way = if said.own.is_some() { Way::Own } else { Way::Calculated };
    Ok(Beside {
        what,
        instead_of: said.own.map(|_| said.verdict),
        chance: limits.chance(what, &said.figures),
        everywhere: count(conn, what, verdict, way, None).await?,
        here: count(conn, what, verdict, way, Some(version)).await?,
    })
}
