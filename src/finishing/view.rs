//! What the finishing bench reads.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::id::AlloyId;
use crate::pieces::{Stage, Standing};

/// A piece at the bench.
#[derive(Clone, Debug, FromRow)]
pub(super) struct BenchRow {
    pub(super) label: String,
    pub(super) version: i64,
    pub(super) attempt_n: i32,
    pub(super) stage: Stage,
    pub(super) standing: Standing,
    pub(super) design: String,
    pub(super) alloy: String,
    pub(super) alloy_id: AlloyId,
    pub(super) client: String,
    pub(super) order_number: i32,
    pub(super) due_on: Option<Day>,
    /// The minutes the quote allows.
    pub(super) planned_minutes: i32,
    /// The flask it came from.
    pub(super) flask: Option<String>,
    /// The flask that has yet to be divested.
    pub(super) undivested: Option<i32>,
    volume_mm3: Option<f64>,
    density_g_cm3: f64,
    pub(super) begun_at: Option<Moment>,
    pub(super) raw_cg: Option<i64>,
    pub(super) finished_cg: Option<i64>,
    pub(super) minutes: Option<i32>,
}

impl BenchRow {
    pub(super) fn waits(&self) -> bool {
        self.stage == Stage::Finish && self.standing == Standing::Waiting
    }

    pub(super) fn in_hand(&self) -> bool {
        self.stage == Stage::Finish && self.standing == Standing::InHand
    }

    pub(super) fn is_ready(&self) -> bool {
        self.standing == Standing::Ready
    }

    /// Where it stands, as the end of a sentence that begins with its label.
    pub(super) fn words(&self) -> String {
        crate::pieces::State {
            attempt_n: self.attempt_n,
            stage: self.stage,
            standing: self.standing,
        }
        .words()
    }

    /// What the model would weigh in this alloy, without the sprue.
    pub(super) fn model_g(&self) -> Option<f64> {
        self.volume_mm3.map(|volume| volume / 1000.0 * self.density_g_cm3)
    }

    /// What was filed off.
    pub(super) fn filed_cg(&self) -> Option<i64> {
        Some(self.raw_cg? - self.finished_cg?)
    }
}

const ROWS: &str = "SELECT p.label, p.version, p.attempt_n, p.stage::text AS stage, p.standing, d.name AS design,
        a.name AS alloy, l.alloy_id, a.density_g_cm3, c.name AS client, o.number AS order_number, o.due_on,
        l.finishing_minutes AS planned_minutes, v.volume_mm3, f.begun_at, f.raw_cg, f.finished_cg, f.minutes,
        (SELECT replace(g.batch, ':', ' ') FROM attempt_stages g
          WHERE g.attempt_id = t.id AND g.stage = 'invest') AS flask,
        (SELECT k.number FROM flask_pieces fp JOIN flasks k ON k.id = fp.flask_id
          WHERE fp.attempt_id = t.id AND k.state = 'poured' LIMIT 1) AS undivested
    FROM pieces p JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
    JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
    JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
    JOIN LATERAL (SELECT t.id FROM attempts t WHERE t.piece_id = p.id
                   ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1) t ON true
    LEFT JOIN finishing f ON f.attempt_id = t.id";

/// As many as stand in one list of the bench.
const MOST: i64 = 100;

/// Pieces at finish in one standing, the first due first.
pub(super) async fn standing(
    pool: &PgPool,
    standing: Standing,
) -> Result<Vec<BenchRow>, sqlx::Error> {
    // Those on the page are found first, and only for them is the rest looked up. The word is
    // written out, so that the indexes of what is being made and of what is ready serve.
    let word = match standing {
        Standing::Waiting => "waiting",
        Standing::InHand => "in_hand",
        _ => "ready",
    };
    let sql = format!(
        "WITH shown AS MATERIALIZED (SELECT q.id FROM pieces q JOIN orders o ON o.id = q.order_id
             WHERE q.stage = 'finish' AND q.standing = '{word}' ORDER BY o.due_on NULLS LAST, o.number, q.n LIMIT $1)
         {ROWS} WHERE p.id = ANY(ARRAY(SELECT id FROM shown)) ORDER BY o.due_on NULLS LAST, o.number, p.n"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(MOST).fetch_all(pool).await
}

/// One piece.
pub(super) async fn piece(pool: &PgPool, label: &str) -> Result<BenchRow, sqlx::Error> {
    let sql = format!("{ROWS} WHERE p.label = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(label).fetch_one(pool).await
}
