//! All SQL that writes flasks and their trees.

use serde_json::Value;
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection};

use super::arrange::ArrangedFlask;
use super::forms::{NewFlask, Weighing};
use super::model::{FlaskState, WorkedOut};
use crate::clock::Moment;
use crate::id::{AlloyId, AttemptId, FamilyId, FlaskId, KilnLoadId, PieceId};

#[derive(Clone, Debug, FromRow)]
pub(super) struct Locked {
    pub(super) id: FlaskId,
    pub(super) number: i32,
    pub(super) state: FlaskState,
    pub(super) alloy_id: AlloyId,
    pub(super) family_id: FamilyId,
    pub(super) version: i64,
}

/// Holds a flask by its number.
pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<Locked, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, number, state, alloy_id, family_id, version FROM flasks WHERE number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

/// Holds several flasks, in one order so that two who hold wait for each other.
pub(super) async fn lock_all(
    conn: &mut PgConnection,
    flasks: &[FlaskId],
) -> Result<Vec<Locked>, sqlx::Error> {
    sqlx::query_as("SELECT id, number, state, alloy_id, family_id, version FROM flasks WHERE id = ANY($1) ORDER BY id FOR UPDATE")
        .bind(flasks)
        .fetch_all(conn)
        .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    flask: &NewFlask,
    now: Moment,
) -> Result<(FlaskId, i32), sqlx::Error> {
    let id = FlaskId::new();
    let number = sqlx::query_scalar(
        "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, note, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING number",
    )
    .bind(id)
    .bind(flask.flask_type)
    .bind(flask.alloy)
    .bind(flask.investment)
    .bind(flask.family)
    .bind(flask.flask_c)
    .bind(&flask.note)
    .bind(now)
    .fetch_one(conn)
    .await?;
    Ok((id, number))
}

/// Puts the present attempts of pieces on a tree, filling tiers of eight from the top.
pub(super) async fn put_on(
    conn: &mut PgConnection,
    flask: FlaskId,
    pieces: &[PieceId],
) -> Result<(), sqlx::Error> {
    for piece in pieces {
        sqlx::query(
            "INSERT INTO flask_pieces (flask_id, attempt_id, tier, place)
             SELECT $1, t.id, 1 + taken.n / 8, 1 + taken.n % 8
             FROM attempts t, (SELECT count(*)::int AS n FROM flask_pieces WHERE flask_id = $1) taken
             WHERE t.piece_id = $2 AND t.ended_at IS NULL
             ON CONFLICT (flask_id, attempt_id) DO UPDATE SET left_at = NULL, hung = NULL",
        )
        .bind(flask)
        .bind(piece)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

pub(super) async fn take_off(
    conn: &mut PgConnection,
    flask: FlaskId,
    piece: PieceId,
    now: Moment,
) -> Result<u64, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE flask_pieces SET left_at = $3 WHERE flask_id = $1 AND left_at IS NULL
         AND attempt_id IN (SELECT id FROM attempts WHERE piece_id = $2)",
    )
    .bind(flask)
    .bind(piece)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected())
}

pub(super) async fn place(
    conn: &mut PgConnection,
    flask: FlaskId,
    attempt: AttemptId,
    tier: i32,
    place: i32,
    sprues: i32,
    sprue_diameter_mm: f64,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flask_pieces SET hung = CASE WHEN tier = $3 AND place = $4 THEN hung END,
             tier = $3, place = $4, sprues = $5, sprue_diameter_mm = $6
         WHERE flask_id = $1 AND attempt_id = $2 AND left_at IS NULL",
    )
    .bind(flask)
    .bind(attempt)
    .bind(tier)
    .bind(place)
    .bind(sprues)
    .bind(sprue_diameter_mm)
    .execute(conn)
    .await?;
    Ok(())
}

/// Writes a tree as it was arranged.
pub(super) async fn hang(
    conn: &mut PgConnection,
    flask: FlaskId,
    arranged: &ArrangedFlask,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE flasks SET tree = $2, version = version + 1 WHERE id = $1")
        .bind(flask)
        .bind(Json(&arranged.tree))
        .execute(&mut *conn)
        .await?;
    for one in &arranged.pieces {
        sqlx::query(
            "UPDATE flask_pieces SET tier = $3, place = $4, hung = $5, sprues = 1, sprue_diameter_mm = $6
             WHERE flask_id = $1 AND attempt_id = $2 AND left_at IS NULL",
        )
        .bind(flask)
        .bind(one.attempt)
        .bind(one.tier)
        .bind(one.place)
        .bind(Json(&one.hung))
        .bind(one.hung.runner.diameter_mm)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// The pieces whose present attempts are in a flask.
pub async fn pieces_of(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Vec<PieceId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT t.piece_id FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id
         WHERE fp.flask_id = $1 AND fp.left_at IS NULL ORDER BY t.piece_id",
    )
    .bind(flask)
    .fetch_all(conn)
    .await
}

pub(super) async fn set_state(
    conn: &mut PgConnection,
    flask: FlaskId,
    state: FlaskState,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE flasks SET state = $2, version = version + 1 WHERE id = $1")
        .bind(flask)
        .bind(state)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn set_weights(
    conn: &mut PgConnection,
    flask: FlaskId,
    weighing: &Weighing,
    out: &WorkedOut,
    workings: (Value, Value),
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flasks SET state = 'weighed', base_mass_g = $2, tree_mass_g = $3, pattern_density_g_cm3 = $4,
             charge_g = $5, powder_g = $6, water_g = $7, charge_working = $8, investment_working = $9,
             weighed_at = $10, collar_mm = $11, channels_cm3 = $12, version = version + 1 WHERE id = $1",
    )
    .bind(flask)
    .bind(weighing.base_mass_g)
    .bind(weighing.tree_mass_g)
    .bind(weighing.pattern_density_g_cm3)
    .bind(out.charge.total.to_grams().get())
    .bind(out.powder.get())
    .bind(out.water.get())
    .bind(workings.0)
    .bind(workings.1)
    .bind(now)
    .bind(weighing.collar_mm)
    .bind(weighing.channels_cm3)
    .execute(conn)
    .await?;
    Ok(())
}

/// The powder worked out for a flask.
pub(super) async fn powder_of(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Option<f64>, sqlx::Error> {
    sqlx::query_scalar("SELECT powder_g FROM flasks WHERE id = $1")
        .bind(flask)
        .fetch_one(conn)
        .await
}

pub(super) async fn start_mix(
    conn: &mut PgConnection,
    flask: FlaskId,
    clock: Value,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE flasks SET state = 'mixing', mix_started_at = $2, mix_clock = $3, version = version + 1 WHERE id = $1")
        .bind(flask)
        .bind(now)
        .bind(clock)
        .execute(conn)
        .await?;
    Ok(())
}

/// Leaves the flask to set; returns how many minutes it needs.
pub(super) async fn leave_to_set(
    conn: &mut PgConnection,
    flask: FlaskId,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "UPDATE flasks f SET state = 'setting', mixed_at = $2,
             set_from_at = $2 + make_interval(mins => i.bench_set_min),
             latest_start_at = $2 + make_interval(mins => i.latest_start_min), version = f.version + 1
         FROM investments i WHERE f.id = $1 AND i.id = f.investment_id RETURNING i.bench_set_min",
    )
    .bind(flask)
    .bind(now)
    .fetch_one(conn)
    .await
}

/// A mixing clock that was started by mistake.
pub(super) async fn unmix(conn: &mut PgConnection, flask: FlaskId) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flasks SET state = 'weighed', mix_started_at = NULL, mix_clock = NULL, version = version + 1 WHERE id = $1",
    )
    .bind(flask)
    .execute(conn)
    .await?;
    Ok(())
}

/// A flask that was not filled yet is mixed for again.
pub(super) async fn unset(conn: &mut PgConnection, flask: FlaskId) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flasks SET state = 'mixing', mixed_at = NULL, set_from_at = NULL, latest_start_at = NULL,
             version = version + 1 WHERE id = $1",
    )
    .bind(flask)
    .execute(conn)
    .await?;
    Ok(())
}

/// Everything leaves the flask.
pub(super) async fn empty(
    conn: &mut PgConnection,
    flask: FlaskId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE flask_pieces SET left_at = $2 WHERE flask_id = $1 AND left_at IS NULL")
        .bind(flask)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

/// The flask is given up as lost, with what it needs to come back.
pub(super) async fn lose(
    conn: &mut PgConnection,
    flask: FlaskId,
    from: FlaskState,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flasks SET state = 'cancelled', lost_at = $3, lost_from = $2, version = version + 1,
             lost_load_id = (SELECT kiln_load_id FROM kiln_load_flasks WHERE flask_id = $1 AND left_at IS NULL)
         WHERE id = $1",
    )
    .bind(flask)
    .bind(from)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// How a flask was lost, and how the load it stood in is now.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Lost {
    pub(super) lost_at: Moment,
    pub(super) lost_from: FlaskState,
    pub(super) lost_load_id: Option<KilnLoadId>,
    pub(super) load_state: Option<String>,
}

pub(super) async fn lost(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Option<Lost>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.lost_at, f.lost_from, f.lost_load_id, l.state AS load_state
         FROM flasks f LEFT JOIN kiln_loads l ON l.id = f.lost_load_id WHERE f.id = $1 AND f.lost_at IS NOT NULL",
    )
    .bind(flask)
    .fetch_optional(conn)
    .await
}

/// The pieces that were lost with a flask.
pub(super) async fn pieces_lost(
    conn: &mut PgConnection,
    flask: FlaskId,
    at: Moment,
) -> Result<Vec<PieceId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT t.piece_id FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id
         WHERE fp.flask_id = $1 AND fp.left_at = $2 ORDER BY t.piece_id",
    )
    .bind(flask)
    .bind(at)
    .fetch_all(conn)
    .await
}

/// A flask that was not lost is in a state again.
pub(super) async fn found(
    conn: &mut PgConnection,
    flask: FlaskId,
    state: FlaskState,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flasks SET state = $2, lost_at = NULL, lost_from = NULL, lost_load_id = NULL,
             version = version + 1 WHERE id = $1",
    )
    .bind(flask)
    .bind(state)
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether a flask's old place in a load is still free: no flask that was put there since
/// reaches into it.
pub(super) async fn has_room(
    conn: &mut PgConnection,
    load: KilnLoadId,
    flask: FlaskId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT NOT EXISTS (
             SELECT 1 FROM kiln_load_flasks ours JOIN flasks f ON f.id = ours.flask_id JOIN flask_types t ON t.id = f.flask_type_id
             JOIN kiln_load_flasks other ON other.kiln_load_id = ours.kiln_load_id AND other.flask_id <> ours.flask_id AND other.left_at IS NULL
             JOIN flasks g ON g.id = other.flask_id JOIN flask_types u ON u.id = g.flask_type_id
             WHERE ours.kiln_load_id = $1 AND ours.flask_id = $2
               AND sqrt((ours.x_mm - other.x_mm) ^ 2 + (ours.y_mm - other.y_mm) ^ 2) < (t.diameter_mm + u.diameter_mm) / 2.0)
           AND NOT EXISTS (SELECT 1 FROM kiln_load_flasks WHERE flask_id = $2 AND left_at IS NULL)",
    )
    .bind(load)
    .bind(flask)
    .fetch_one(conn)
    .await
}

/// A flask stands in its old place in a load again.
pub async fn back_into_load(
    conn: &mut PgConnection,
    load: KilnLoadId,
    flask: FlaskId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_load_flasks SET left_at = NULL WHERE kiln_load_id = $1 AND flask_id = $2",
    )
    .bind(load)
    .bind(flask)
    .execute(conn)
    .await?;
    Ok(())
}

/// The castings that left a flask as it was divested are in it again.
pub(super) async fn refill(
    conn: &mut PgConnection,
    flask: FlaskId,
    batch: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE flask_pieces fp SET left_at = NULL FROM attempts t, attempt_stages s
         WHERE fp.flask_id = $1 AND t.id = fp.attempt_id AND t.ended_at IS NULL
           AND s.attempt_id = t.id AND s.stage = 'cast' AND s.batch = $2 AND s.finished_at IS NOT NULL",
    )
    .bind(flask)
    .bind(batch)
    .execute(&mut *conn)
    .await?;
    // Where its load is still held it stands in it, as it did after its pour.
    sqlx::query(
        "UPDATE kiln_load_flasks lf SET left_at = NULL FROM pours p JOIN kiln_loads l ON l.id = p.kiln_load_id
         WHERE p.flask_id = $1 AND lf.flask_id = $1 AND lf.kiln_load_id = l.id AND l.state = 'held'",
    )
    .bind(flask)
    .execute(conn)
    .await?;
    Ok(())
}
