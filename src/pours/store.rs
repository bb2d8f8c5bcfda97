//! All SQL that writes pours.

use sqlx::{FromRow, PgConnection};

use super::forms::PourForm;
use crate::clock::Moment;
use crate::id::{
    AlloyId, AttemptId, DesignVersionId, FlaskId, KilnLoadId, MetalBatchId, PersonId, PourId,
};

#[derive(Clone, Debug, FromRow)]
pub(super) struct HotFlask {
    pub(super) id: FlaskId,
    pub(super) alloy_id: AlloyId,
    pub(super) load: Option<KilnLoadId>,
}

/// The flask with the load it stands in, held until the commit.
pub(super) async fn lock_flask(
    conn: &mut PgConnection,
    number: i32,
) -> Result<HotFlask, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, f.alloy_id,
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
