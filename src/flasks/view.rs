//! What pages read about flasks, other tables included.

use foundry::investment::{ClockTimes, WorkingTime, mixing_clock};
use foundry::quantity::{Celsius, Minutes};
use foundry::source::Sourced;
use serde::{Deserialize, Serialize};
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use super::arrange::{Cylinder, Hanging, Hung, TreeKept};
use super::model::{FlaskRefusal, FlaskState};
use crate::clock::{Day, Moment};
use crate::id::{
    AlloyId, AttemptId, DesignVersionId, FamilyId, FileId, FlaskId, FlaskTypeId, InvestmentId,
    PieceId,
};
use crate::json::working::WorkingJson;
use crate::web::{Fault, Order, Paged, Refused, Term, Turned};

/// What a flask is made of, for working it out.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Material {
    pub(super) alloy: String,
    pub(super) density_g_cm3: f64,
    pub(super) source: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) wall_mm: f64,
    pub(super) investment_kind: String,
    pub(super) water_per_100: f64,
    /// The alloy's own rule for fresh metal.
    pub(super) least_fresh: Option<f64>,
}

pub(super) async fn material(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Material, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.name AS alloy, a.density_g_cm3, a.source, t.diameter_mm, t.height_mm, t.wall_mm,
                i.kind AS investment_kind, i.water_per_100, a.least_fresh
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN flask_types t ON t.id = f.flask_type_id
         JOIN investments i ON i.id = f.investment_id WHERE f.id = $1",
    )
    .bind(flask)
    .fetch_one(conn)
    .await
}

/// The first of the pieces that is to be cast in another alloy: label, its alloy, ours.
pub(super) async fn other_alloy(
    conn: &mut PgConnection,
    alloy: AlloyId,
    pieces: &[PieceId],
) -> Result<Option<(String, String, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.label, a.name, ours.name FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
         JOIN alloys a ON a.id = l.alloy_id JOIN alloys ours ON ours.id = $1
         WHERE p.id = ANY($2) AND l.alloy_id <> $1 ORDER BY p.label LIMIT 1",
    )
    .bind(alloy)
    .bind(pieces)
    .fetch_optional(conn)
    .await
}

/// A step of the mixing clock as it is kept with the flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct MixStep {
    pub(super) name: String,
    pub(super) start_min: f64,
    pub(super) end_min: f64,
}

/// The mixing clock of a flask, or of so many from one bowl, for a slurry of so many degrees.
pub(super) async fn mixing_steps(
    conn: &mut PgConnection,
    flask: FlaskId,
    slurry_c: f64,
    flasks: usize,
) -> Result<Vec<MixStep>, Fault> {
    let minutes: f64 = sqlx::query_scalar(
        "SELECT i.working_minutes FROM flasks f JOIN investments i ON i.id = f.investment_id WHERE f.id = $1",
    )
    .bind(flask)
    .fetch_one(conn)
    .await?;
    let refused = |refusal: FlaskRefusal| Fault::from(Refused::from(refusal).at("slurry_c"));
    let slurry = Celsius::new(slurry_c).map_err(|out| refused(out.into()))?;
    let to_gloss_off = Minutes::new(minutes).map_err(|out| refused(out.into()))?;
    let time = WorkingTime { to_gloss_off: Sourced::entered(to_gloss_off), ..WorkingTime::usual() };
    let clock = mixing_clock(&time, slurry, flasks, &ClockTimes::usual())
        .map_err(|out| refused(out.into()))?
        .value;
    let mut steps: Vec<MixStep> = clock
        .steps
        .iter()
        .map(|step| MixStep {
            name: step.name.to_owned(),
            start_min: step.start.get(),
            end_min: step.end.get(),
        })
        .collect();
    let last = steps.last().map_or(0.0, |step| step.end_min);
    if last < clock.gloss_off.get() {
        steps.push(MixStep {
            name: "gloss-off".to_owned(),
            start_min: last,
            end_min: clock.gloss_off.get(),
        });
    }
    Ok(steps)
}

/// What was charged into a flask.
pub(super) async fn charged_cg(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT fresh_cg + returns_cg + own_cg FROM pours WHERE flask_id = $1")
        .bind(flask)
        .fetch_one(conn)
        .await
}

/// The volume of the models on a tree; none while one of them is open.
pub(super) async fn models_mm3(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Option<f64>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT CASE WHEN bool_and(v.volume_mm3 IS NOT NULL) THEN sum(v.volume_mm3) END
         FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         WHERE fp.flask_id = $1 AND fp.left_at IS NULL",
    )
    .bind(flask)
    .fetch_one(conn)
    .await
}

/// What the models of a flask's castings weigh in its alloy, without those that failed: they go
/// with the returns. None while one of them is open, or nothing came out.
pub(super) async fn castings_g(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Option<f64>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT CASE WHEN bool_and(v.volume_mm3 IS NOT NULL) THEN sum(v.volume_mm3 / 1000 * a.density_g_cm3) END
         FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         JOIN flasks f ON f.id = fp.flask_id JOIN alloys a ON a.id = f.alloy_id
         WHERE fp.flask_id = $1 AND fp.left_at IS NULL AND t.ended_at IS NULL",
    )
    .bind(flask)
    .fetch_one(conn)
    .await
}

/// The pieces that were cast from a flask, those that failed in it too.
pub(super) async fn cast_in(
    conn: &mut PgConnection,
    flask: FlaskId,
    batch: &str,
) -> Result<Vec<PieceId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT t.piece_id FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id
         JOIN attempt_stages s ON s.attempt_id = t.id AND s.stage = 'cast' AND s.batch = $2
         WHERE fp.flask_id = $1 AND (s.finished_at IS NOT NULL OR s.failed_at IS NOT NULL) ORDER BY t.piece_id",
    )
    .bind(flask)
    .bind(batch)
    .fetch_all(conn)
    .await
}

/// A good casting of a flask that does not wait to be finished any more.
pub(super) async fn gone_on(
    conn: &mut PgConnection,
    flask: FlaskId,
    batch: &str,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT p.label FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id JOIN pieces p ON p.id = t.piece_id
         JOIN attempt_stages s ON s.attempt_id = t.id AND s.stage = 'cast' AND s.batch = $2 AND s.finished_at IS NOT NULL
         WHERE fp.flask_id = $1 AND (t.ended_at IS NOT NULL OR p.stage <> 'finish' OR p.standing <> 'waiting')
         ORDER BY p.label LIMIT 1",
    )
    .bind(flask)
    .bind(batch)
    .fetch_optional(conn)
    .await
}

/// Whether returns of a flask have been melted since.
pub(super) async fn returns_melted(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM metal_returns_left r JOIN pours p ON p.id = r.pour_id
                         WHERE p.flask_id = $1 AND r.left_cg < r.came_cg)",
    )
    .bind(flask)
    .fetch_one(conn)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) number: i32,
    pub(super) state: FlaskState,
    pub(super) alloy: String,
    pub(super) flask_type: String,
    pub(super) family: String,
    pub(super) pieces: i64,
    pub(super) labels: Option<String>,
    pub(super) charge_g: Option<f64>,
    pub(super) set_from_at: Option<Moment>,
    pub(super) latest_start_at: Option<Moment>,
    pub(super) due_on: Option<Day>,
    pub(super) load: Option<i32>,
}

pub(super) async fn list(
    pool: &PgPool,
    open: bool,
    search: &str,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order = Order { terms: &[Term::number("f.number")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar(
        "SELECT count(*) FROM flasks f JOIN alloys a ON a.id = f.alloy_id
         WHERE (f.state IN ('divested', 'cancelled')) = NOT $1
           AND ($2 = '' OR strpos(lower(f.number || ' ' || a.name), lower($2)) > 0)",
    )
    .bind(open)
    .bind(search)
    .fetch_one(pool)
    .await?;
    let sql = format!(
        "SELECT {}, f.number, f.state, a.name AS alloy, t.name AS flask_type, b.name AS family, f.charge_g,
                f.set_from_at, f.latest_start_at, on_it.pieces, on_it.labels, on_it.due_on, loaded.number AS load
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN flask_types t ON t.id = f.flask_type_id
         JOIN burnout_families b ON b.id = f.family_id
         LEFT JOIN LATERAL (
             SELECT count(*) AS pieces, string_agg(p.label, ', ' ORDER BY p.label) AS labels, min(o.due_on) AS due_on
             FROM flask_pieces fp JOIN attempts x ON x.id = fp.attempt_id JOIN pieces p ON p.id = x.piece_id
             JOIN orders o ON o.id = p.order_id
             WHERE fp.flask_id = f.id AND (fp.left_at IS NULL OR f.state IN ('divested', 'cancelled'))
         ) on_it ON true
         LEFT JOIN LATERAL (
             SELECT l.number FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id
             WHERE lf.flask_id = f.id AND lf.left_at IS NULL LIMIT 1
         ) loaded ON true
         WHERE (f.state IN ('divested', 'cancelled')) = NOT $1
           AND ($2 = '' OR strpos(lower(f.number || ' ' || a.name), lower($2)) > 0) AND {}{}",
        seek.column(),
        seek.beyond("$3"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(open)
        .bind(search)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok(seek.page(found, rows))
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct FlaskRow {
    pub(super) id: FlaskId,
    pub(super) number: i32,
    pub(super) state: FlaskState,
    pub(super) version: i64,
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) flask_type: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) size_class: String,
    pub(super) investment: String,
    pub(super) water_per_100: f64,
    pub(super) family: String,
    pub(super) flask_c: f64,
    pub(super) melt_c: f64,
    pub(super) base_mass_g: Option<f64>,
    pub(super) tree_mass_g: Option<f64>,
    pub(super) charge_g: Option<f64>,
    pub(super) powder_g: Option<f64>,
    pub(super) water_g: Option<f64>,
    charge_working: Option<serde_json::Value>,
    investment_working: Option<serde_json::Value>,
    tree: Option<serde_json::Value>,
    /// The mix it was filled from, if several were.
    pub(super) mix: Option<i32>,
    pub(super) mix_started_at: Option<Moment>,
    mix_clock: Option<serde_json::Value>,
    pub(super) mixed_at: Option<Moment>,
    pub(super) set_from_at: Option<Moment>,
    pub(super) latest_start_at: Option<Moment>,
    pub(super) note: String,
    /// When it was recorded as lost, if it was.
    pub(super) lost_at: Option<Moment>,
    pub(super) load: Option<i32>,
    pub(super) fresh_cg: Option<i64>,
    pub(super) returns_cg: Option<i64>,
    pub(super) own_cg: Option<i64>,
    pub(super) poured_at: Option<Moment>,
    pub(super) quench_at: Option<Moment>,
}

impl FlaskRow {
    pub(super) fn charge_working(&self) -> WorkingJson {
        read(self.charge_working.as_ref())
    }

    pub(super) fn investment_working(&self) -> WorkingJson {
        read(self.investment_working.as_ref())
    }

    /// The tree as the program arranged it.
    pub(super) fn arranged(&self) -> Option<TreeKept> {
        self.tree.clone().and_then(|kept| serde_json::from_value(kept).ok())
    }

    pub(super) fn mix_steps(&self) -> Vec<MixStep> {
        self.mix_clock
            .clone()
            .and_then(|kept| serde_json::from_value(kept).ok())
            .unwrap_or_default()
    }
}

fn read(kept: Option<&serde_json::Value>) -> WorkingJson {
    kept.cloned().and_then(|kept| serde_json::from_value(kept).ok()).unwrap_or_default()
}

pub(super) async fn load(pool: &PgPool, number: i32) -> Result<FlaskRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.*, (SELECT m.number FROM mixes m WHERE m.id = f.mix_id) AS mix, a.name AS alloy, a.melt_c, t.name AS flask_type, t.diameter_mm, t.height_mm, t.size_class,
                i.name AS investment, i.water_per_100, b.name AS family,
                (SELECT l.number FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id
                 WHERE lf.flask_id = f.id AND (lf.left_at IS NULL OR l.started_at IS NOT NULL)
                   AND (f.state <> 'cancelled' OR l.id = f.lost_load_id) AND l.state <> 'cancelled'
                 ORDER BY lf.left_at IS NOT NULL, l.id = p.kiln_load_id DESC NULLS LAST, lf.left_at DESC LIMIT 1) AS load,
                p.fresh_cg, p.returns_cg, p.own_cg, p.poured_at, p.quench_at
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN flask_types t ON t.id = f.flask_type_id
         JOIN investments i ON i.id = f.investment_id JOIN burnout_families b ON b.id = f.family_id
         LEFT JOIN pours p ON p.flask_id = f.id WHERE f.number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct TreeRow {
    pub(super) piece_id: PieceId,
    pub(super) attempt_id: AttemptId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) picture_id: Option<FileId>,
    pub(super) tier: i32,
    pub(super) place: i32,
    pub(super) sprues: i32,
    pub(super) sprue_diameter_mm: f64,
    pub(super) volume_mm3: Option<f64>,
    hung: Option<Json<Hung>>,
}

impl TreeRow {
    /// Where it hangs; none when it was placed by hand.
    pub(super) fn hung(&self) -> Option<&Hung> {
        self.hung.as_ref().map(|hung| &hung.0)
    }
}

/// The pieces on a flask's tree, or those that were, once it is divested.
pub(super) async fn tree(pool: &PgPool, flask: FlaskId) -> Result<Vec<TreeRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id AS piece_id, x.id AS attempt_id, p.label, d.name AS design, c.name AS client, v.picture_id, fp.tier, fp.place, fp.sprues, fp.sprue_diameter_mm, v.volume_mm3, fp.hung
         FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id JOIN attempts x ON x.id = fp.attempt_id
         JOIN pieces p ON p.id = x.piece_id JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         JOIN designs d ON d.id = v.design_id
         WHERE fp.flask_id = $1 AND (fp.left_at IS NULL OR f.state IN ('poured', 'divested', 'cancelled'))
         ORDER BY fp.tier, fp.place, p.label",
    )
    .bind(flask)
    .fetch_all(pool)
    .await
}

/// The resin that most of a flask's pieces were printed in: its density.
pub(super) async fn pattern_density(
    pool: &PgPool,
    flask: FlaskId,
) -> Result<Option<f64>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT r.density_g_cm3 FROM flask_pieces fp JOIN plate_pieces pp ON pp.attempt_id = fp.attempt_id
         JOIN plates pl ON pl.id = pp.plate_id JOIN resin_lots rl ON rl.id = pl.resin_lot_id
         JOIN resins r ON r.id = rl.resin_id
         WHERE fp.flask_id = $1 AND fp.left_at IS NULL GROUP BY r.id ORDER BY count(*) DESC LIMIT 1",
    )
    .bind(flask)
    .fetch_optional(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct WaitingAlloy {
    pub(super) id: AlloyId,
    pub(super) name: String,
    pub(super) flask_c: f64,
    pub(super) pieces: i64,
}

/// Alloys with the number of pieces that wait for investing.
pub(super) async fn waiting_alloys(pool: &PgPool) -> Result<Vec<WaitingAlloy>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.id, a.name, a.flask_c, count(*) AS pieces FROM pieces p
         JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
         WHERE p.stage = 'invest' AND p.standing = 'waiting' GROUP BY a.id ORDER BY count(*) DESC, a.name",
    )
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct WaitingPiece {
    pub(super) id: PieceId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) picture_id: Option<FileId>,
    pub(super) volume_mm3: Option<f64>,
    pub(super) due_on: Option<Day>,
    attempt: AttemptId,
    version: DesignVersionId,
}

impl WaitingPiece {
    pub(super) fn hanging(&self) -> Hanging {
        Hanging {
            piece: self.id,
            attempt: self.attempt,
            label: self.label.clone(),
            version: self.version,
            due_on: self.due_on,
        }
    }
}

/// The pieces of an alloy that wait for investing, due first.
pub(super) async fn waiting_pieces(
    pool: &PgPool,
    alloy: AlloyId,
) -> Result<Vec<WaitingPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id, p.label, d.name AS design, c.name AS client, v.picture_id, v.volume_mm3, o.due_on, x.id AS attempt, v.id AS version
         FROM pieces p JOIN attempts x ON x.piece_id = p.id AND x.ended_at IS NULL JOIN orders o ON o.id = p.order_id JOIN clients c ON c.id = o.client_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
         JOIN designs d ON d.id = v.design_id
         WHERE p.stage = 'invest' AND p.standing = 'waiting' AND l.alloy_id = $1
         ORDER BY o.due_on NULLS LAST, p.label LIMIT 300",
    )
    .bind(alloy)
    .fetch_all(pool)
    .await
}

/// The kinds of flask in use, with how many of each stand empty.
pub(super) async fn cylinders(db: impl PgExecutor<'_>) -> Result<Vec<Cylinder>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id, t.name, t.diameter_mm, t.height_mm, t.wall_mm, t.channels, t.channel_mm,
                greatest(t.owned - (SELECT count(*) FROM flasks f WHERE f.flask_type_id = t.id
                                    AND f.state NOT IN ('divested', 'cancelled')), 0) AS free
         FROM flask_types t WHERE t.retired_at IS NULL ORDER BY t.diameter_mm, t.height_mm, t.id",
    )
    .fetch_all(db)
    .await
}

/// A kind of flask with how many there are, and when the next is free.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Owned {
    pub(super) id: FlaskTypeId,
    pub(super) name: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) owned: i32,
    pub(super) in_use: i64,
    /// When the first of those in use is planned to be poured; none while none is.
    pub(super) next_at: Option<Moment>,
}

impl Owned {
    pub(super) fn is_full(&self) -> bool {
        self.free() == 0
    }

    fn free(&self) -> i64 {
        (i64::from(self.owned) - self.in_use).max(0)
    }

    /// As it is told in a list to choose from.
    pub(super) fn words(&self) -> String {
        let (name, d, h) = (&self.name, self.diameter_mm, self.height_mm);
        format!("{name}, {d} × {h} mm, {} of {} free", self.free(), self.owned)
    }

    /// That none is free, and when the next is; `day` says a moment's day.
    pub(super) fn full_words(&self, day: impl Fn(Moment) -> String) -> String {
        let all = match self.owned {
            1 => format!("The only {} is in use", self.name),
            0 => format!("The studio has no {}", self.name),
            n => format!("All {n} {} are in use", self.name),
        };
        match self.next_at {
            _ if self.owned == 0 => all,
            Some(at) => format!("{all}; the first is free about {}", day(at)),
            None => format!("{all}, and none of them has a pour planned yet"),
        }
    }
}

/// The kinds of flask in use; of one alone when it is named.
pub(super) async fn owned(
    db: impl PgExecutor<'_>,
    only: Option<FlaskTypeId>,
    now: Moment,
) -> Result<Vec<Owned>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id, t.name, t.diameter_mm, t.height_mm, t.owned, used.n AS in_use, used.next_at
         FROM flask_types t CROSS JOIN LATERAL (
             SELECT count(*) AS n, min(CASE WHEN f.state = 'poured' THEN $2::timestamptz
                                        WHEN lf.planned_pour_at IS NOT NULL THEN greatest(lf.planned_pour_at, $2) END) AS next_at
             FROM flasks f LEFT JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL
             WHERE f.flask_type_id = t.id AND f.state NOT IN ('divested', 'cancelled')) used
         WHERE t.retired_at IS NULL AND ($1::uuid IS NULL OR t.id = $1) ORDER BY t.diameter_mm, t.height_mm, t.id",
    )
    .bind(only)
    .bind(now)
    .fetch_all(db)
    .await
}

/// The kind of a flask; it counts as free for its own tree.
pub(super) async fn cylinder_of(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Cylinder, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id, t.name, t.diameter_mm, t.height_mm, t.wall_mm, t.channels, t.channel_mm, 1::bigint AS free
         FROM flasks f JOIN flask_types t ON t.id = f.flask_type_id WHERE f.id = $1",
    )
    .bind(flask)
    .fetch_one(conn)
    .await
}

/// What hangs on a flask's tree, for arranging it.
pub(super) async fn hanging(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Vec<Hanging>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id AS piece, x.id AS attempt, p.label, v.id AS version, o.due_on
         FROM flask_pieces fp JOIN attempts x ON x.id = fp.attempt_id JOIN pieces p ON p.id = x.piece_id
         JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN design_versions v ON v.id = l.design_version_id
         WHERE fp.flask_id = $1 AND fp.left_at IS NULL ORDER BY o.due_on NULLS LAST, p.label",
    )
    .bind(flask)
    .fetch_all(conn)
    .await
}

/// Flasks whose trees are open, of the same alloy and family: where a piece may move to.
pub(super) async fn siblings(pool: &PgPool, flask: &FlaskRow) -> Result<Vec<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT g.number FROM flasks f JOIN flasks g ON g.alloy_id = f.alloy_id AND g.family_id = f.family_id
         WHERE f.id = $1 AND g.id <> f.id AND g.state IN ('treeing', 'weighed') ORDER BY g.number",
    )
    .bind(flask.id)
    .fetch_all(pool)
    .await
}

/// What a new flask is chosen from.
#[derive(Clone, Debug, Default)]
pub(super) struct Choices {
    pub(super) flask_types: Vec<(FlaskTypeId, String)>,
    pub(super) investments: Vec<(InvestmentId, String)>,
    pub(super) families: Vec<(FamilyId, String)>,
}

pub(super) async fn choices(pool: &PgPool, now: Moment) -> Result<Choices, sqlx::Error> {
    let kinds = owned(pool, None, now).await?;
    Ok(Choices {
        flask_types: kinds.into_iter().map(|kind| (kind.id, kind.words())).collect(),
        investments: sqlx::query_as(
            "SELECT id, name || ', ' || water_per_100 || ' : 100' FROM investments WHERE retired_at IS NULL ORDER BY name",
        )
        .fetch_all(pool)
        .await?,
        families: sqlx::query_as("SELECT id, name FROM burnout_families WHERE retired_at IS NULL ORDER BY name")
            .fetch_all(pool)
            .await?,
    })
}

/// Causes to choose from at a stage.
pub(super) async fn causes(
    pool: &PgPool,
    stage: crate::pieces::Stage,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query_as("SELECT name, name FROM causes WHERE stage = $1 ORDER BY n, name")
        .bind(stage)
        .fetch_all(pool)
        .await
}
