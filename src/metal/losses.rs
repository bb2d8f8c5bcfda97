//! What is lost where: by process, by job and by person, and whether it is more than usual.

use std::collections::BTreeMap;

use sqlx::{FromRow, PgPool};

use super::usual::{OfPerson, Share, Usual, by_person, percent};
use crate::clock::Moment;
use crate::id::{AlloyId, DesignId, MetalBatchId};
use crate::timers::subject_path;

/// Who is meant where nobody was noted.
const NOBODY: &str = "not noted";

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
    pub(super) charged: i64,
    pub(super) lost: i64,
    pub(super) usual: Usual,
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
    let usual = Usual::of(its.iter().map(|flask| percent(flask.lost, flask.charged)).collect());
    for (at, flask) in its.iter_mut().enumerate() {
        flask.outside = usual.is_outside(at);
    }
    OfAlloy {
        alloy: name,
        charged: its.iter().map(|flask| flask.charged).sum(),
        lost: its.iter().map(|flask| flask.lost).sum(),
        usual,
    }
}

/// The same flasks by who poured them; only flasks of one alloy are held against each other.
pub(super) fn poured_by(flasks: &[OfFlask]) -> Vec<OfPerson> {
    let shares: Vec<Share<'_>> = flasks
        .iter()
        .map(|flask| Share {
            person: flask.person.as_deref().unwrap_or(NOBODY),
            like: &flask.alloy,
            through: flask.charged,
            lost: flask.lost,
            outside: flask.outside,
        })
        .collect();
    by_person(&shares)
}

/// A piece that was finished: what it weighed before and what was taken off.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OfPiece {
    order_number: i32,
    order_title: String,
    design: DesignId,
    person: Option<String>,
    raw: i64,
    filed: i64,
}

/// Pieces finished in a time, the earliest first.
pub(super) async fn finished(pool: &PgPool, span: Span) -> Result<Vec<OfPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.number AS order_number, o.title AS order_title, v.design_id AS design, n.name AS person,
                f.raw_cg AS raw, f.raw_cg - f.finished_cg AS filed
         FROM finishing f JOIN attempts t ON t.id = f.attempt_id JOIN pieces x ON x.id = t.piece_id
         JOIN orders o ON o.id = x.order_id JOIN order_lines l ON l.id = x.order_line_id
         JOIN design_versions v ON v.id = l.design_version_id LEFT JOIN people n ON n.id = f.person_id
         WHERE f.passed AND f.raw_cg IS NOT NULL AND f.finished_cg IS NOT NULL AND f.ended_at >= $1 AND f.ended_at < $2
         ORDER BY f.ended_at, f.id",
    )
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await
}

/// The same pieces by who finished them; only pieces of one design are held against each other,
/// for how much is filed off depends on the design.
pub(super) fn finished_by(pieces: &[OfPiece]) -> Vec<OfPerson> {
    let designs: Vec<String> = pieces.iter().map(|piece| piece.design.to_string()).collect();
    let shares: Vec<Share<'_>> = pieces
        .iter()
        .zip(&designs)
        .map(|(piece, design)| Share {
            person: piece.person.as_deref().unwrap_or(NOBODY),
            like: design,
            through: piece.raw,
            lost: piece.filed,
            outside: false,
        })
        .collect();
    by_person(&shares)
}

/// What a process took and lost, and what is usual of each time it was done.
#[derive(Clone, Debug)]
pub(super) struct OfProcess {
    pub(super) process: &'static str,
    /// What is counted as one time.
    pub(super) one: &'static str,
    pub(super) through: i64,
    pub(super) lost: i64,
    pub(super) usual: Usual,
}

impl OfProcess {
    /// The process in a word or two.
    pub(super) fn name(&self) -> &'static str {
        self.process.split(':').next().unwrap_or(self.process)
    }

    fn of(process: &'static str, one: &'static str, each: &[(i64, i64)]) -> Self {
        Self {
            process,
            one,
            through: each.iter().map(|(through, _)| through).sum(),
            lost: each.iter().map(|(_, lost)| lost).sum(),
            // What nothing passed through, such as what is only sent away, has no share.
            usual: Usual::of(
                each.iter()
                    .filter(|(through, _)| *through > 0)
                    .map(|(through, lost)| percent(*lost, *through))
                    .collect(),
            ),
        }
    }
}

/// Casting, finishing, melting, refining and counting, with what went through and what is gone.
pub(super) async fn by_process(
    pool: &PgPool,
    span: Span,
    flasks: &[OfFlask],
    finishing: &[OfJob],
) -> Result<Vec<OfProcess>, sqlx::Error> {
    let rows: Vec<(String, i64, i64)> = sqlx::query_as(
        "SELECT m.kind,
                coalesce(CASE m.kind
                  WHEN 'melted' THEN -sum(p.cg) FILTER (WHERE a.kind IN ('fresh', 'returns') AND p.cg < 0)
                  WHEN 'refined' THEN -sum(p.cg) FILTER (WHERE a.kind = 'refiner' AND p.cg < 0)
                  ELSE 0 END, 0)::bigint,
                coalesce(sum(p.cg) FILTER (WHERE a.kind = CASE m.kind WHEN 'counted' THEN 'difference' ELSE 'loss' END), 0)::bigint
         FROM metal_batches m JOIN metal_postings p ON p.batch_id = m.id JOIN metal_accounts a ON a.id = p.account_id
         WHERE m.kind IN ('melted', 'refined', 'counted') AND m.at >= $1 AND m.at < $2
           AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = m.id)
         GROUP BY m.id ORDER BY m.at, m.id",
    )
    .bind(span.from)
    .bind(span.before)
    .fetch_all(pool)
    .await?;
    let of = |kind: &str| -> Vec<(i64, i64)> {
        rows.iter().filter(|(k, ..)| k == kind).map(|r| (r.1, r.2)).collect()
    };
    let cast: Vec<_> = flasks.iter().map(|flask| (flask.charged, flask.lost)).collect();
    let filed: Vec<_> = finishing.iter().map(|job| (job.raw, job.filed)).collect();
    Ok(vec![
        OfProcess::of("casting: burnt, splashed, left in the investment", "flask", &cast),
        OfProcess::of("finishing: filed off, kept for the refiner", "job", &filed),
        OfProcess::of("melting over", "melt", &of("melted")),
        OfProcess::of("refining", "settlement", &of("refined")),
        OfProcess::of("missing when counted", "count", &of("counted")),
    ])
}

/// What a job lost: its share of its flasks, by pieces, and what finishing took off.
#[derive(Clone, Debug, Default, FromRow)]
pub(super) struct OfJob {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) charged: i64,
    pub(super) lost: i64,
    /// The entries of its flasks.
    entries: Vec<MetalBatchId>,
    /// How many of its flasks lie beyond the limits of their alloy.
    #[sqlx(skip)]
    pub(super) outside: usize,
    /// What its finished pieces weighed before.
    #[sqlx(skip)]
    pub(super) raw: i64,
    /// What finishing took off.
    #[sqlx(skip)]
    pub(super) filed: i64,
    /// Whether that is beyond what is usual.
    #[sqlx(skip)]
    pub(super) filed_outside: bool,
}

/// What finishing took off, job by job in the order in which their last pieces were finished,
/// with those beyond the limits marked. Pieces of one job are much alike, so that limits from
/// piece to piece would be too narrow.
pub(super) fn finished_of_jobs(pieces: &[OfPiece]) -> Vec<OfJob> {
    let mut jobs: Vec<OfJob> = Vec::new();
    for piece in pieces {
        let at = jobs.iter().position(|job| job.number == piece.order_number);
        let job = at.map_or_else(OfJob::default, |at| jobs.remove(at));
        jobs.push(OfJob {
            number: piece.order_number,
            title: piece.order_title.clone(),
            raw: job.raw + piece.raw,
            filed: job.filed + piece.filed,
            ..job
        });
    }
    let usual = Usual::of(jobs.iter().map(|job| percent(job.filed, job.raw)).collect());
    for (at, job) in jobs.iter_mut().enumerate() {
        job.filed_outside = usual.is_outside(at);
    }
    jobs
}

/// Jobs that were cast or finished in a time, the latest first.
pub(super) async fn by_job(
    pool: &PgPool,
    span: Span,
    flasks: &[OfFlask],
    finishing: &[OfJob],
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
                round(sum(s.lost * s.part))::bigint AS lost, array_agg(DISTINCT s.id) AS entries
         FROM shares s JOIN orders o ON o.id = s.order_id GROUP BY o.id ORDER BY o.number DESC LIMIT 50"
    );
    let cast: Vec<OfJob> = sqlx::query_as(sqlx::AssertSqlSafe(query))
        .bind(span.from)
        .bind(span.before)
        .fetch_all(pool)
        .await?;
    let mut jobs: BTreeMap<i32, OfJob> =
        finishing.iter().map(|job| (job.number, job.clone())).collect();
    let outside: Vec<_> = flasks.iter().filter(|each| each.outside).map(|each| each.id).collect();
    for job in cast {
        let filed = jobs.remove(&job.number).unwrap_or_default();
        jobs.insert(
            job.number,
            OfJob {
                outside: job.entries.iter().filter(|id| outside.contains(id)).count(),
                raw: filed.raw,
                filed: filed.filed,
                filed_outside: filed.filed_outside,
                ..job
            },
        );
    }
    Ok(jobs.into_values().rev().take(50).collect())
}
