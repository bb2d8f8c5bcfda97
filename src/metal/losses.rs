//! What is lost where: by process, by job and by person, and whether it is more than usual.

use foundry::working::Working;
use foundry::yields::individuals_chart;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sqlx::{FromRow, PgPool};

use super::view::share;
use crate::clock::Moment;
use crate::id::{AlloyId, MetalBatchId};
use crate::timers::subject_path;

/// From when until before when.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) from: Moment,
    pub(super) before: Moment,
}

/// What a flask lost between the charge and the scale.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OfFlask {
    pub(super) id: MetalBatchId,
    pub(super) at: Moment,
    pub(super) subject: String,
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) person: Option<String>,
    pub(super) charged: i64,
    pub(super) lost: i64,
    /// Beyond the limits of its alloy.
    #[sqlx(skip)]
    pub(super) outside: bool,
}

impl OfFlask {
    pub(super) fn share(&self) -> Decimal {
        share(self.lost, self.charged)
    }

    pub(super) fn flask(&self) -> String {
        self.subject.replacen(':', " ", 1)
    }

    pub(super) fn place(&self) -> String {
        subject_path(&self.subject).unwrap_or_else(|| super::EntryPage(self.id).to_string())
    }
}

/// The losses of one alloy with their limits.
#[derive(Clone, Debug)]
pub(super) struct OfAlloy {
    pub(super) alloy: String,
    pub(super) flasks: usize,
    pub(super) charged: i64,
    pub(super) lost: i64,
    /// Lower and upper limit in per cent, with how they were reached; none for few flasks.
    pub(super) limits: Option<(f64, f64, Working)>,
    /// Flasks beyond them.
    pub(super) outside: usize,
    /// What each flask lost in per cent, the earliest first, and whether that lies beyond; for the
    /// chart.
    pub(super) each: Vec<(f64, bool)>,
}

const DIVESTED: &str = "SELECT m.id, m.at, m.subject, l.id AS alloy_id, l.name AS alloy,
        (-sum(p.cg) FILTER (WHERE a.kind = 'cast'))::bigint AS charged,
        coalesce(sum(p.cg) FILTER (WHERE a.kind = 'loss'), 0)::bigint AS lost
   FROM metal_batches m JOIN metal_postings p ON p.batch_id = m.id JOIN metal_accounts a ON a.id = p.account_id
   JOIN alloys l ON l.id = a.alloy_id
  WHERE m.kind = 'divested' AND m.at >= $1 AND m.at < $2
    AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = m.id)
  GROUP BY m.id, l.id HAVING sum(p.cg) FILTER (WHERE a.kind = 'cast') < 0";

/// Flasks of a time, the earliest first, with those beyond the limits of their alloy marked;
/// and the losses of each alloy.
pub(super) async fn by_flask(
    pool: &PgPool,
    span: Span,
) -> Result<(Vec<OfFlask>, Vec<OfAlloy>), sqlx::Error> {
    let query = format!(
        "SELECT d.*, n.name AS person FROM ({DIVESTED}) d
         LEFT JOIN flasks f ON d.subject = 'flask:' || f.number LEFT JOIN pours p ON p.flask_id = f.id
         LEFT JOIN people n ON n.id = p.person_id ORDER BY d.at, d.id"
    );
    let mut flasks: Vec<OfFlask> = sqlx::query_as(sqlx::AssertSqlSafe(query))
        .bind(span.from)
        .bind(span.before)
        .fetch_all(pool)
        .await?;
    let mut names: Vec<(AlloyId, String)> =
        flasks.iter().map(|flask| (flask.alloy_id, flask.alloy.clone())).collect();
    names.sort_by(|one, other| one.1.cmp(&other.1));
    names.dedup();
    let alloys = names.into_iter().map(|(id, name)| judge(&mut flasks, id, name)).collect();
    Ok((flasks, alloys))
}

/// Marks the flasks of an alloy that lie beyond its limits.
fn judge(flasks: &mut [OfFlask], alloy: AlloyId, name: String) -> OfAlloy {
    let mut its: Vec<&mut OfFlask> =
        flasks.iter_mut().filter(|flask| flask.alloy_id == alloy).collect();
    let percents: Vec<f64> = its
        .iter()
        .map(|flask| (flask.share() * Decimal::ONE_HUNDRED).to_f64().unwrap_or_default())
        .collect();
    let chart = individuals_chart(&percents, "%").ok();
    if let Some(chart) = &chart {
        for (flask, outside) in its.iter_mut().zip(&chart.value.outside) {
            flask.outside = *outside;
        }
    }
    OfAlloy {
        alloy: name,
        flasks: its.len(),
        charged: its.iter().map(|flask| flask.charged).sum(),
        lost: its.iter().map(|flask| flask.lost).sum(),
        outside: its.iter().filter(|flask| flask.outside).count(),
        each: percents.iter().zip(&its).map(|(share, flask)| (*share, flask.outside)).collect(),
        limits: chart.map(|chart| (chart.value.lower.max(0.0), chart.value.upper, chart.working)),
    }
}

/// What one person's pours lost, or their finishing took off.
#[derive(Clone, Debug)]
pub(super) struct OfPerson {
    pub(super) person: String,
    pub(super) times: usize,
    pub(super) charged: i64,
    pub(super) lost: i64,
    pub(super) outside: usize,
}

/// The same flasks by who poured them, by name.
pub(super) fn by_person(flasks: &[OfFlask]) -> Vec<OfPerson> {
    let mut people: Vec<OfPerson> = Vec::new();
    for flask in flasks {
        let name = flask.person.as_deref().unwrap_or("not noted");
        let at = people.iter().position(|each| each.person == name).unwrap_or_else(|| {
            people.push(OfPerson {
                person: name.to_owned(),
                times: 0,
                charged: 0,
                lost: 0,
                outside: 0,
            });
            people.len() - 1
        });
        let person = &mut people[at];
        person.times += 1;
        person.charged += flask.charged;
        person.lost += flask.lost;
        person.outside += usize::from(flask.outside);
    }
    people.sort_by(|one, other| one.person.cmp(&other.person));
    people
}

/// What finishing took off, by person: it goes to the filings and is not lost yet.
pub(super) async fn filed_by_person(
    pool: &PgPool,
    span: Span,
) -> Result<Vec<OfPerson>, sqlx::Error> {
    let rows: Vec<(String, i64, i64, i64)> = sqlx::query_as(
        "SELECT coalesce(n.name, 'not noted'), count(*), sum(f.raw_cg)::bigint, sum(f.raw_cg - f.finished_cg)::bigint
         FROM finishing f LEFT JOIN people n ON n.id = f.person_id
         WHERE f.passed AND f.raw_cg IS NOT NULL AND f.finished_cg IS NOT NULL AND f.ended_at >= $1 AND f.ended_at < $2
         GROUP BY 1 ORDER BY 1",
    )
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(person, times, charged, lost)| OfPerson {
            person,
            times: usize::try_from(times).unwrap_or(0),
            charged,
            lost,
            outside: 0,
        })
        .collect())
}

/// What a process took and lost.
#[derive(Clone, Debug)]
pub(super) struct OfProcess {
    pub(super) process: &'static str,
    pub(super) through: i64,
    pub(super) lost: i64,
}

/// Casting, finishing, melting, refining and counting, with what went through and what is gone.
pub(super) async fn by_process(pool: &PgPool, span: Span) -> Result<Vec<OfProcess>, sqlx::Error> {
    let rows: Vec<(String, i64, i64)> = sqlx::query_as(
        "SELECT m.kind,
                coalesce(CASE m.kind
                  WHEN 'divested' THEN -sum(p.cg) FILTER (WHERE a.kind = 'cast')
                  WHEN 'finished' THEN -sum(p.cg) FILTER (WHERE a.kind = 'pieces')
                  WHEN 'melted' THEN -sum(p.cg) FILTER (WHERE a.kind IN ('fresh', 'returns') AND p.cg < 0)
                  WHEN 'refined' THEN -sum(p.cg) FILTER (WHERE a.kind = 'refiner' AND p.cg < 0)
                  ELSE 0 END, 0)::bigint,
                coalesce(sum(p.cg) FILTER (WHERE a.kind = CASE m.kind WHEN 'counted' THEN 'difference' ELSE 'loss' END), 0)::bigint
         FROM metal_batches m JOIN metal_postings p ON p.batch_id = m.id JOIN metal_accounts a ON a.id = p.account_id
         WHERE m.kind IN ('divested', 'melted', 'refined', 'counted') AND m.at >= $1 AND m.at < $2
           AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = m.id)
         GROUP BY m.kind",
    )
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await?;
    let of = |kind: &str| rows.iter().find(|(k, ..)| k == kind).map_or((0, 0), |r| (r.1, r.2));
    Ok([
        ("casting: burnt, splashed, left in the investment", "divested"),
        ("melting over", "melted"),
        ("refining", "refined"),
        ("missing when counted", "counted"),
    ]
    .into_iter()
    .map(|(process, kind)| {
        let (through, lost) = of(kind);
        OfProcess { process, through, lost }
    })
    .collect())
}

/// What a job lost: its share of its flasks, by pieces, and what finishing took off.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OfJob {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) charged: i64,
    pub(super) lost: i64,
    pub(super) filed: i64,
    /// The entries of its flasks.
    entries: Vec<MetalBatchId>,
    /// How many of its flasks lie beyond the limits of their alloy.
    #[sqlx(skip)]
    pub(super) outside: usize,
}

/// Jobs of a time, the latest first, with those of its flasks that are marked.
pub(super) async fn by_job(
    pool: &PgPool,
    span: Span,
    flasks: &[OfFlask],
) -> Result<Vec<OfJob>, sqlx::Error> {
    let query = format!(
        "WITH d AS ({DIVESTED}), shares AS (
           SELECT d.id, x.order_id, d.charged, d.lost,
                  count(*)::numeric / sum(count(*)) OVER (PARTITION BY d.id) AS part
             FROM d JOIN flasks f ON d.subject = 'flask:' || f.number JOIN pours p ON p.flask_id = f.id
             JOIN flask_pieces fp ON fp.flask_id = f.id AND (fp.left_at IS NULL OR fp.left_at >= p.poured_at)
             JOIN attempts t ON t.id = fp.attempt_id JOIN pieces x ON x.id = t.piece_id
            GROUP BY d.id, d.charged, d.lost, x.order_id)
         SELECT o.number, o.title, round(sum(s.charged * s.part))::bigint AS charged,
                round(sum(s.lost * s.part))::bigint AS lost,
                (SELECT coalesce(sum(g.raw_cg - g.finished_cg), 0)::bigint FROM finishing g
                   JOIN attempts t ON t.id = g.attempt_id JOIN pieces x ON x.id = t.piece_id
                  WHERE x.order_id = o.id AND g.passed) AS filed, array_agg(DISTINCT s.id) AS entries
         FROM shares s JOIN orders o ON o.id = s.order_id GROUP BY o.id ORDER BY o.number DESC LIMIT 50"
    );
    let mut jobs: Vec<OfJob> = sqlx::query_as(sqlx::AssertSqlSafe(query))
        .bind(span.from)
        .bind(span.before)
        .fetch_all(pool)
        .await?;
    let outside: Vec<_> = flasks.iter().filter(|each| each.outside).map(|each| each.id).collect();
    for job in &mut jobs {
        job.outside = job.entries.iter().filter(|id| outside.contains(id)).count();
    }
    Ok(jobs)
}
