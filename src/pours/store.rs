//! All SQL that writes pours.

use sqlx::{FromRow, PgConnection};

use super::forms::{PourForm, Weights};
use crate::clock::Moment;
use crate::flasks::FlaskState;
use crate::id::{
    AlloyId, AttemptId, ClientId, DesignVersionId, FlaskId, KilnLoadId, MetalBatchId, MetalLotId,
    PersonId, PourId,
};

#[derive(Clone, Debug, FromRow)]
pub(super) struct HotFlask {
    pub(super) id: FlaskId,
    pub(super) alloy_id: AlloyId,
    pub(super) state: FlaskState,
    pub(super) version: i64,
    pub(super) charge_g: Option<f64>,
    pub(super) load: Option<KilnLoadId>,
}

/// The flask with the load it stands in, held until the commit.
pub(super) async fn lock_flask(
    conn: &mut PgConnection,
    number: i32,
) -> Result<HotFlask, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, f.alloy_id, f.state, f.version, f.charge_g,
                (SELECT kiln_load_id FROM kiln_load_flasks WHERE flask_id = f.id AND left_at IS NULL) AS load
         FROM flasks f WHERE f.number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    flask: FlaskId,
    load: KilnLoadId,
    pour: &PourForm,
    person: PersonId,
    now: Moment,
) -> Result<PourId, sqlx::Error> {
    let id = PourId::new();
    sqlx::query(
        "INSERT INTO pours (id, flask_id, kiln_load_id, fresh_cg, returns_cg, melt_c, flask_c, method, poured_at,
                            result, quench_at, note, person_id, own_cg, own_client_id, returns_from, cover, vacuum_kpa, spin_rpm)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)",
    )
    .bind(id)
    .bind(flask)
    .bind(load)
    .bind(pour.fresh_cg)
    .bind(pour.returns_cg)
    .bind(pour.melt_c)
    .bind(pour.flask_c)
    .bind(pour.method)
    .bind(now)
    .bind(pour.result)
    .bind(pour.quench_min.map(|minutes| now.plus_minutes(minutes)))
    .bind(&pour.note)
    .bind(person)
    .bind(pour.own.map_or(0, |(_, cg)| cg))
    .bind(pour.own.map(|(client, _)| client))
    .bind(&pour.returns_from)
    .bind(&pour.cover)
    .bind(pour.vacuum_kpa)
    .bind(pour.spin_rpm)
    .execute(conn)
    .await?;
    Ok(id)
}

/// Notes by which entry of the ledger the metal of a pour moved.
pub(super) async fn note_metal(
    conn: &mut PgConnection,
    pour: PourId,
    entry: MetalBatchId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE pours SET metal_batch_id = $2 WHERE id = $1")
        .bind(pour)
        .bind(entry)
        .execute(conn)
        .await?;
    Ok(())
}

/// The versions of designs in a flask, each with the attempts at them.
pub(super) async fn versions_in(
    conn: &mut PgConnection,
    flask: FlaskId,
) -> Result<Vec<(DesignVersionId, Vec<AttemptId>)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.design_version_id, array_agg(x.attempt_id) FROM flask_pieces x JOIN attempts t ON t.id = x.attempt_id
         JOIN pieces p ON p.id = t.piece_id JOIN order_lines l ON l.id = p.order_line_id
         WHERE x.flask_id = $1 AND x.left_at IS NULL GROUP BY l.design_version_id",
    )
    .bind(flask)
    .fetch_all(conn)
    .await
}

/// A pour as it was recorded.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Poured {
    pub(super) id: PourId,
    pub(super) kiln_load_id: KilnLoadId,
    pub(super) own_client_id: Option<ClientId>,
    pub(super) metal_batch_id: Option<MetalBatchId>,
    /// Whether its entry stands in the ledger.
    pub(super) stands: bool,
    /// The whole row.
    pub(super) kept: serde_json::Value,
}

/// The pour of a flask; it must have been poured.
pub(super) async fn poured(conn: &mut PgConnection, number: i32) -> Result<Poured, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.id, p.kiln_load_id, p.own_client_id, p.metal_batch_id, to_jsonb(p) AS kept,
                EXISTS (SELECT 1 FROM metal_standing s WHERE s.id = p.metal_batch_id) AS stands
         FROM pours p JOIN flasks f ON f.id = p.flask_id WHERE f.number = $1",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

/// Removes a pour that was not one; says whether it could go. It cannot while the ledger names
/// it as where returns came from.
pub(super) async fn delete(conn: &mut PgConnection, pour: PourId) -> Result<bool, sqlx::Error> {
    let gone = sqlx::query(
        "DELETE FROM pours WHERE id = $1 AND NOT EXISTS (SELECT 1 FROM metal_batch_returns WHERE pour_id = $1)",
    )
    .bind(pour)
    .execute(conn)
    .await?;
    Ok(gone.rows_affected() == 1)
}

/// The one lot, and the one flask's returns, that an entry took from; none when there were several.
pub(super) async fn single_lots(
    conn: &mut PgConnection,
    entry: MetalBatchId,
) -> Result<(Option<MetalLotId>, Option<PourId>), sqlx::Error> {
    let lots: Vec<MetalLotId> =
        sqlx::query_scalar("SELECT lot_id FROM metal_batch_lots WHERE batch_id = $1")
            .bind(entry)
            .fetch_all(&mut *conn)
            .await?;
    let returns: Vec<PourId> =
        sqlx::query_scalar("SELECT pour_id FROM metal_batch_returns WHERE batch_id = $1")
            .bind(entry)
            .fetch_all(conn)
            .await?;
    Ok((one(lots), one(returns)))
}

fn one<T>(list: Vec<T>) -> Option<T> {
    let mut list = list.into_iter();
    list.next().filter(|_| list.next().is_none())
}

pub(super) async fn set_weights(
    conn: &mut PgConnection,
    pour: PourId,
    weights: Weights,
    entry: MetalBatchId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE pours SET fresh_cg = $2, returns_cg = $3, own_cg = $4, metal_batch_id = $5,
             own_client_id = CASE WHEN $4 > 0 THEN own_client_id END WHERE id = $1",
    )
    .bind(pour)
    .bind(weights.fresh_cg)
    .bind(weights.returns_cg)
    .bind(weights.own_cg)
    .bind(entry)
    .execute(&mut *conn)
    .await?;
    sqlx::query("UPDATE flasks SET version = version + 1 WHERE id = (SELECT flask_id FROM pours WHERE id = $1)")
        .bind(pour)
        .execute(conn)
        .await?;
    Ok(())
}
