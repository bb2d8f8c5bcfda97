//! Settings as they are, and what was measured beside them.

use sqlx::{AssertSqlSafe, FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::model::{LATEST, Proposal, What, propose, propose_limit};
use crate::clock::Moment;
use crate::forecasts::{self, Verdict, Way, drawn};

/// Among so many of the pieces finished or measured last those of each design and alloy are
/// looked for.
const FINISHED: i64 = 800;

/// Among so many of the plates of a printer printed last those with its hours are looked for.
const PRINTED: i64 = 160;

/// A setting with its measurements.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Measured {
    /// The id of the thing it is set for; empty for the studio.
    pub(super) item: String,
    pub(super) name: String,
    pub(super) now: f64,
    pub(super) measured: Vec<f64>,
    /// What is proposed where that does not follow from the measurements by themselves.
    #[sqlx(skip)]
    by_limit: Option<Proposal>,
}

impl Measured {
    /// What to set in its place; none of too few measurements, or of ones that say the same.
    pub(super) fn proposal(&self, what: What) -> Option<Proposal> {
        match what {
            What::Limit => self.by_limit.clone(),
            _ => propose(what, self.now, &self.measured),
        }
    }
}

/// For each thing: its setting, and the latest measurements in no order. Forecasts are counted
/// where they are kept.
fn sql(what: What) -> String {
    match what {
        What::Chance | What::Limit => String::new(),
        // The latest are found before anything is joined to them.
        What::MetalLoss => format!(
            "WITH lately AS MATERIALIZED (SELECT b.id, split_part(b.subject, ':', 2)::integer AS flask FROM metal_batches b
                 WHERE b.kind = 'divested' AND b.subject LIKE 'flask:%' AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = b.id)
                 ORDER BY b.at DESC LIMIT {LATEST})
             SELECT '' AS item, '' AS name, s.metal_loss::double precision AS now,
                    coalesce(array_agg(m.share) FILTER (WHERE m.share IS NOT NULL), '{{}}') AS measured
             FROM studio s LEFT JOIN (
                 SELECT (SELECT sum(x.cg) FROM metal_postings x JOIN metal_accounts a ON a.id = x.account_id
                          WHERE x.batch_id = b.id AND a.kind = 'loss')::double precision
                        / nullif(p.fresh_cg + p.returns_cg, 0) AS share
                 FROM lately b JOIN flasks f ON f.number = b.flask JOIN pours p ON p.flask_id = f.id) m ON true
             GROUP BY s.metal_loss"
        ),
        // What a layer took beyond what was reckoned, from the hours that the printer showed.
        What::LiftS => format!(
            "SELECT r.id::text AS item, r.name, r.lift_s AS now, array_agg(m.over) AS measured
             FROM printers r CROSS JOIN LATERAL (
                 SELECT ((s.told ->> 'hours')::double precision * 3600 - p.estimated_min * 60)
                        / nullif((p.estimated_min * 60 - p.bottom_layers * (p.bottom_exposure_s - p.exposure_s)) / (p.exposure_s + p.lift_s), 0) AS over
                 FROM (SELECT * FROM plates WHERE printer_id = r.id AND profile_id IS NULL AND lift_s = r.lift_s AND estimated_min > 0
                         AND bottom_layers IS NOT NULL ORDER BY number DESC LIMIT {PRINTED}) p
                 JOIN LATERAL (SELECT told FROM bench_steps WHERE subject = 'plate:' || p.number AND stage = 'print' AND step = 'off'
                         AND taken_back_at IS NULL AND told ? 'hours' LIMIT 1) s ON true
                 ORDER BY p.number DESC LIMIT {LATEST}) m
             WHERE r.retired_at IS NULL AND m.over IS NOT NULL GROUP BY r.id ORDER BY lower(r.name)"
        ),
        // Of the pieces finished last; a design that is no longer made has nothing to learn.
        What::FinishingMinutes => format!(
            "WITH lately AS MATERIALIZED (SELECT attempt_id, minutes, ended_at FROM finishing
                 WHERE passed AND minutes IS NOT NULL ORDER BY ended_at DESC LIMIT {FINISHED}),
             m AS (SELECT v.design_id, f.minutes::double precision AS minutes, l.finishing_minutes AS allowed,
                          row_number() OVER (PARTITION BY v.design_id ORDER BY f.ended_at DESC) AS n
                   FROM lately f JOIN attempts t ON t.id = f.attempt_id JOIN pieces p ON p.id = t.piece_id
                   JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id)
             SELECT d.id::text AS item, d.name || ' (' || d.number || ')' AS name,
                    coalesce(d.finishing_minutes, max(m.allowed))::double precision AS now, array_agg(m.minutes) AS measured
             FROM designs d JOIN m ON m.design_id = d.id AND m.n <= {LATEST}
             WHERE d.archived_at IS NULL GROUP BY d.id HAVING count(*) >= 8 ORDER BY d.number LIMIT 60"
        ),
        What::Shrinkage => format!(
            "WITH lately AS MATERIALIZED (SELECT attempt_id, told, at FROM bench_steps
                 WHERE stage = 'finish' AND step = 'measured' AND taken_back_at IS NULL ORDER BY at DESC LIMIT {FINISHED}),
             m AS MATERIALIZED (SELECT s.attempt_id, l.alloy_id, (s.told ->> 'mm')::double precision AS mm, side.mm AS model_mm,
                          row_number() OVER (PARTITION BY l.alloy_id ORDER BY s.at DESC) AS n
                   FROM lately s JOIN attempts t ON t.id = s.attempt_id JOIN pieces p ON p.id = t.piece_id
                   JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
                   CROSS JOIN LATERAL (SELECT CASE s.told ->> 'side' WHEN 'width' THEN v.box_x_mm WHEN 'depth' THEN v.box_y_mm
                                                   WHEN 'height' THEN v.box_z_mm END AS mm) side
                   WHERE side.mm > 0)
             SELECT a.id::text AS item, a.name, a.shrinkage AS now, array_agg(1 - m.mm / (m.model_mm * (1 - coalesce(resin.shrinkage, 0)))) AS measured
             FROM alloys a JOIN m ON m.alloy_id = a.id AND m.n <= {LATEST}
             LEFT JOIN LATERAL (SELECT r.shrinkage FROM plate_pieces pp JOIN plates b ON b.id = pp.plate_id
                 JOIN resin_lots o ON o.id = b.resin_lot_id JOIN resins r ON r.id = o.resin_id
                 WHERE pp.attempt_id = m.attempt_id AND b.started_at IS NOT NULL ORDER BY b.started_at DESC LIMIT 1) resin ON true
             WHERE a.retired_at IS NULL GROUP BY a.id ORDER BY lower(a.name)"
        ),
    }
}

/// All things a setting is made for, with what was measured.
pub(super) async fn measured(
    conn: &mut PgConnection,
    what: What,
) -> Result<Vec<Measured>, sqlx::Error> {
    match what {
        What::Chance => return chances(conn).await,
        What::Limit => return limits(conn).await,
        _ => {}
    }
    sqlx::query_as(AssertSqlSafe(sql(what))).fetch_all(conn).await
}

/// Every verdict with what it is taken to mean, and 1 for each casting that came out, 0 for each
/// that did not; those that were never said are left out.
async fn chances(conn: &mut PgConnection) -> Result<Vec<Measured>, sqlx::Error> {
    let counted = forecasts::counted(conn, Way::Calculated).await?;
    let said = counted.into_iter().filter(|each| each.tally.total() > 0);
    Ok(said
        .map(|each| {
            let item = format!("{}:{}", each.what.name(), each.verdict.name());
            let mut measured = vec![1.0; each.tally.good as usize];
            measured.resize(each.tally.total() as usize, 0.0);
            Measured {
                name: words_of(&item),
                item,
                now: each.taken.unwrap_or(each.verdict.claims()),
                measured,
                by_limit: None,
            }
        })
        .collect())
}

/// The two limits of every forecast of which any casting tells.
async fn limits(conn: &mut PgConnection) -> Result<Vec<Measured>, sqlx::Error> {
    let kept = forecasts::limits(conn).await?;
    let mut all = Vec::new();
    for what in forecasts::What::ALL {
        let seen = forecasts::seen(conn, what).await?;
        if seen.outcomes.is_empty() {
            continue;
        }
        let own = kept.of(what);
        for (verdict, at) in [(Verdict::Yes, own.yes), (Verdict::No, own.no)] {
            let now = at.unwrap_or(drawn(what, verdict));
            let castings = seen.outcomes.len();
            let by_limit = seen
                .limit
                .as_ref()
                .ok()
                .and_then(|limit| propose_limit(now, castings, limit, verdict == Verdict::Yes));
            let item = format!("{}:{}", what.name(), verdict.name());
            let measured = seen.outcomes.iter().map(|outcome| outcome.margin).collect();
            all.push(Measured { name: limit_words(&item), item, now, measured, by_limit });
        }
    }
    Ok(all)
}

/// The verdict that an item such as `fill:doubtful` names.
pub(super) fn verdict_of(item: &str) -> Option<(forecasts::What, forecasts::Verdict)> {
    let (of, verdict) = item.split_once(':')?;
    let of = forecasts::What::ALL.into_iter().find(|each| each.name() == of)?;
    let verdict = forecasts::Verdict::ALL.into_iter().find(|each| each.name() == verdict)?;
    Some((of, verdict))
}

/// The same in words.
fn words_of(item: &str) -> String {
    verdict_of(item)
        .map(|(of, verdict)| format!("{}, said “{}”", of.title(), verdict.words(of).to_lowercase()))
        .unwrap_or_default()
}

/// The limit that an item such as `fill:yes` names, in words.
fn limit_words(item: &str) -> String {
    let Some((of, verdict)) = verdict_of(item) else { return String::new() };
    let way = if verdict == Verdict::Yes { "up to" } else { "from" };
    format!("{}, called “{}” {way}", of.title(), verdict.words(of).to_lowercase())
}

/// A setting that was taken over.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TakenRow {
    pub(super) id: Uuid,
    pub(super) what: What,
    pub(super) item: String,
    pub(super) name: String,
    pub(super) before: f64,
    pub(super) after: f64,
    pub(super) records: i32,
    pub(super) taken_at: Moment,
    pub(super) person: Option<String>,
    pub(super) reversed_at: Option<Moment>,
}

/// What was taken over, the latest first.
pub(super) async fn taken(pool: &PgPool) -> Result<Vec<TakenRow>, sqlx::Error> {
    let mut taken: Vec<TakenRow> = sqlx::query_as(
        "SELECT l.id, l.what, l.item, l.before, l.after, l.records, l.taken_at, p.name AS person, l.reversed_at,
                coalesce((SELECT name FROM printers x WHERE l.what = 'lift_s' AND x.id::text = l.item),
                         (SELECT name FROM designs x WHERE l.what = 'finishing_minutes' AND x.id::text = l.item),
                         (SELECT name FROM alloys x WHERE l.what = 'shrinkage' AND x.id::text = l.item), '') AS name
         FROM learned_settings l LEFT JOIN people p ON p.id = l.taken_by ORDER BY l.taken_at DESC, l.id DESC LIMIT 50",
    )
    .fetch_all(pool)
    .await?;
    for row in &mut taken {
        match row.what {
            What::Chance => row.name = words_of(&row.item),
            What::Limit => row.name = limit_words(&row.item),
            _ => {}
        }
    }
    Ok(taken)
}
