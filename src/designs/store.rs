//! All SQL that writes designs.

use sqlx::types::Json;
use sqlx::{FromRow, PgConnection};

use super::forms::DesignForm;
use super::intake::Taken;
use super::reading::Reading;
use crate::analysis::{Casting, ModelOf};
use crate::clock::Moment;
use crate::id::{ClientId, DesignId, DesignVersionId, FileId, PersonId};

pub(super) async fn insert(
    conn: &mut PgConnection,
    id: DesignId,
    name: &str,
    client: Option<ClientId>,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO designs (id, name, client_id, created_at) VALUES ($1, $2, $3, $4) RETURNING number",
    )
    .bind(id)
    .bind(name)
    .bind(client)
    .bind(now)
    .fetch_one(conn)
    .await
}

/// Changes a design if nobody else did since `seen`; says whether it did.
pub(super) async fn update(
    conn: &mut PgConnection,
    number: i32,
    design: &DesignForm,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE designs SET name = $2, client_id = $3, note = $4, version = version + 1
         WHERE number = $1 AND version = $5",
    )
    .bind(number)
    .bind(&design.name)
    .bind(design.client)
    .bind(&design.note)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Holds a design for the rest of the transaction.
pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<DesignId, sqlx::Error> {
    sqlx::query_scalar("SELECT id FROM designs WHERE number = $1 FOR UPDATE")
        .bind(number)
        .fetch_one(conn)
        .await
}

/// Adds the next version of a design.
pub(super) async fn insert_version(
    conn: &mut PgConnection,
    design: DesignId,
    taken: &Taken,
    now: Moment,
    person: PersonId,
) -> Result<DesignVersionId, sqlx::Error> {
    let id = DesignVersionId::new();
    let reading = &taken.reading;
    sqlx::query(
        "INSERT INTO design_versions (id, design_id, n, file_id, file_name, unit, unit_origin, unit_reason, format,
             triangles, shells, closed, volume_mm3, area_mm2, box_x_mm, box_y_mm, box_z_mm, problems, footprint,
             picture_id, measured_at, added_by)
         SELECT $1, $2, coalesce(max(n), 0) + 1, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17,
             $18, $19, $20, $21
         FROM design_versions WHERE design_id = $2",
    )
    .bind(id)
    .bind(design)
    .bind(taken.file)
    .bind(&taken.name)
    .bind(reading.unit)
    .bind(reading.unit_origin)
    .bind(&reading.unit_reason)
    .bind(&reading.format)
    .bind(reading.triangles)
    .bind(reading.shells)
    .bind(reading.closed)
    .bind(reading.volume_mm3)
    .bind(reading.area_mm2)
    .bind(reading.box_mm[0])
    .bind(reading.box_mm[1])
    .bind(reading.box_mm[2])
    .bind(Json(&reading.problems))
    .bind(Json(&reading.footprint))
    .bind(taken.picture)
    .bind(now)
    .bind(person)
    .execute(&mut *conn)
    .await?;
    sqlx::query("UPDATE designs SET version = version + 1 WHERE id = $1")
        .bind(design)
        .execute(conn)
        .await?;
    Ok(id)
}

/// A version's file, for measuring it again.
#[derive(Clone, Debug, FromRow)]
pub(super) struct VersionFile {
    pub(super) id: DesignVersionId,
    pub(super) file_id: FileId,
    pub(super) file_name: String,
    pub(super) unit: Option<String>,
}

/// Writes what was measured in another unit.
pub(super) async fn remeasure(
    conn: &mut PgConnection,
    version: DesignVersionId,
    reading: &Reading,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE design_versions SET unit = $2, unit_origin = $3, unit_reason = $4, closed = $5, volume_mm3 = $6,
             area_mm2 = $7, box_x_mm = $8, box_y_mm = $9, box_z_mm = $10, problems = $11, footprint = $12,
             measured_at = $13
         WHERE id = $1",
    )
    .bind(version)
    .bind(reading.unit)
    .bind(reading.unit_origin)
    .bind(&reading.unit_reason)
    .bind(reading.closed)
    .bind(reading.volume_mm3)
    .bind(reading.area_mm2)
    .bind(reading.box_mm[0])
    .bind(reading.box_mm[1])
    .bind(reading.box_mm[2])
    .bind(Json(&reading.problems))
    .bind(Json(&reading.footprint))
    .bind(now)
    .execute(&mut *conn)
    .await?;
    sqlx::query(
        "UPDATE designs SET version = version + 1
         WHERE id = (SELECT design_id FROM design_versions WHERE id = $1)",
    )
    .bind(version)
    .execute(conn)
    .await?;
    Ok(())
}

/// The number of an order that is being made from a version, if there is one.
pub(super) async fn order_under_way(
    conn: &mut PgConnection,
    version: DesignVersionId,
) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT o.number FROM order_lines l JOIN orders o ON o.id = l.order_id
         WHERE l.design_version_id = $1 AND l.removed_at IS NULL AND o.state IN ('agreed', 'ready', 'handed_over')
         ORDER BY o.number LIMIT 1",
    )
    .bind(version)
    .fetch_optional(conn)
    .await
}

/// Marks the open quotes of orders with a version as no longer fitting.
pub(super) async fn outdate_quotes(
    conn: &mut PgConnection,
    version: DesignVersionId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE quotes SET outdated_at = $2 WHERE state IN ('draft', 'sent') AND outdated_at IS NULL
           AND order_id IN (SELECT order_id FROM order_lines WHERE design_version_id = $1 AND removed_at IS NULL)",
    )
    .bind(version)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// The model of a version, for its analyses; none as long as nobody knows its unit.
pub(super) async fn model_of(
    conn: &mut PgConnection,
    version: DesignVersionId,
) -> Result<Option<ModelOf>, sqlx::Error> {
    let row: Option<(FileId, String, String, Option<String>)> = sqlx::query_as(
        "SELECT f.id, encode(f.sha256, 'hex'), v.file_name, v.unit
         FROM design_versions v JOIN files f ON f.id = v.file_id WHERE v.id = $1",
    )
    .bind(version)
    .fetch_optional(conn)
    .await?;
    Ok(row.and_then(|(file, digest, name, unit)| Some(ModelOf { file, digest, name, unit: unit? })))
}

/// How a version is to be cast, and the number of that answer's version.
pub(super) async fn casting(
    conn: &mut PgConnection,
    version: DesignVersionId,
) -> Result<Option<(Casting, i64)>, sqlx::Error> {
    let row: Option<(Json<Casting>, i64)> =
        sqlx::query_as("SELECT casting, version FROM design_castings WHERE design_version_id = $1")
            .bind(version)
            .fetch_optional(conn)
            .await?;
    Ok(row.map(|(Json(casting), version)| (casting, version)))
}

/// How the version before this one of the same design was to be cast.
pub(super) async fn casting_before(
    conn: &mut PgConnection,
    version: DesignVersionId,
) -> Result<Option<Casting>, sqlx::Error> {
    let row: Option<Json<Casting>> = sqlx::query_scalar(
        "SELECT c.casting FROM design_versions v
         JOIN design_versions before ON before.design_id = v.design_id AND before.n < v.n
         JOIN design_castings c ON c.design_version_id = before.id
         WHERE v.id = $1 ORDER BY before.n DESC LIMIT 1",
    )
    .bind(version)
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|Json(casting)| casting))
}

/// Keeps how a version is to be cast, if nobody else did since `seen` (0 when there was nothing);
/// says whether it did.
pub(super) async fn keep_casting(
    conn: &mut PgConnection,
    version: DesignVersionId,
    casting: &Casting,
    seen: i64,
    now: Moment,
    person: PersonId,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "INSERT INTO design_castings (design_version_id, casting, changed_at, changed_by)
         SELECT $1, $2, $4, $5 WHERE $3 = 0 OR EXISTS (SELECT 1 FROM design_castings WHERE design_version_id = $1)
         ON CONFLICT (design_version_id) DO UPDATE SET casting = excluded.casting, changed_at = excluded.changed_at,
             changed_by = excluded.changed_by, version = design_castings.version + 1
         WHERE design_castings.version = $3",
    )
    .bind(version)
    .bind(Json(casting))
    .bind(seen)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The box round a version's model.
pub(super) async fn box_of(
    conn: &mut PgConnection,
    version: DesignVersionId,
) -> Result<[f64; 3], sqlx::Error> {
    let (x, y, z): (f64, f64, f64) =
        sqlx::query_as("SELECT box_x_mm, box_y_mm, box_z_mm FROM design_versions WHERE id = $1")
            .bind(version)
            .fetch_one(conn)
            .await?;
    Ok([x, y, z])
}
