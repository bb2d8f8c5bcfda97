//! What a firing can be computed for, read from the studio; and a programme saved under a new name.

use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::kiln::KilnFacts;
use super::programme::{SegmentRow, set_programme};
use crate::id::FamilyId;

/// A programme family.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Family {
    pub(super) name: String,
    pub(super) pattern: String,
    pub(super) investment_kind: String,
}

/// A flask type; its diameter is the outside one.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FlaskType {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) wall_mm: f64,
    pub(super) size_class: String,
}

impl FlaskType {
    /// Its name and measures, to choose from.
    pub(super) fn words(&self) -> String {
        format!(
            "{}, {} × {} mm outside, class {}",
            self.name, self.diameter_mm, self.height_mm, self.size_class
        )
    }
}

/// An investment of the family's kind.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Investment {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) water_per_100: f64,
}

/// What a firing can be computed for.
#[derive(Clone, Debug)]
pub(super) struct Choices {
    pub(super) family: Family,
    pub(super) flasks: Vec<FlaskType>,
    pub(super) investments: Vec<Investment>,
    pub(super) kilns: Vec<KilnFacts>,
}

impl Choices {
    pub(super) async fn read(pool: &PgPool, family: Uuid) -> Result<Self, sqlx::Error> {
        let family: Family = sqlx::query_as(
            "SELECT name, pattern, investment_kind FROM burnout_families WHERE id = $1",
        )
        .bind(family)
        .fetch_one(pool)
        .await?;
        let flasks = sqlx::query_as(
            "SELECT id, name, diameter_mm, height_mm, wall_mm, size_class FROM flask_types
             WHERE retired_at IS NULL ORDER BY diameter_mm, height_mm, name",
        )
        .fetch_all(pool)
        .await?;
        let investments = sqlx::query_as(
            "SELECT id, name, water_per_100 FROM investments WHERE retired_at IS NULL AND kind = $1 ORDER BY name",
        )
        .bind(&family.investment_kind)
        .fetch_all(pool)
        .await?;
        let kilns = KilnFacts::list(pool).await?;
        Ok(Self { family, flasks, investments, kilns })
    }
}

/// The programme that runs, or is to run, in a load.
pub(super) async fn programme_of_load(
    pool: &PgPool,
    number: i32,
) -> Result<Vec<SegmentRow>, sqlx::Error> {
    let programme: Json<Vec<SegmentRow>> =
        sqlx::query_scalar("SELECT programme FROM kiln_loads WHERE number = $1")
            .bind(number)
            .fetch_one(pool)
            .await?;
    Ok(programme.0)
}

/// Saves a programme as a family of its own: like `family`, with this programme for one size
/// class, the same ones for the others, and the same families it may not share a load with.
pub(super) async fn save_as_family(
    conn: &mut PgConnection,
    family: Uuid,
    size: &str,
    name: &str,
    segments: &[SegmentRow],
) -> Result<FamilyId, sqlx::Error> {
    let new = FamilyId::new();
    sqlx::query(
        "INSERT INTO burnout_families (id, name, pattern, investment_kind)
         SELECT $1, $2, pattern, investment_kind FROM burnout_families WHERE id = $3",
    )
    .bind(new)
    .bind(name)
    .bind(family)
    .execute(&mut *conn)
    .await?;
    sqlx::query(
        "INSERT INTO programme_segments (family_id, size_class, n, kind, target_c, minutes)
         SELECT $1, size_class, n, kind, target_c, minutes FROM programme_segments
         WHERE family_id = $2 AND size_class <> $3",
    )
    .bind(new)
    .bind(family)
    .bind(size)
    .execute(&mut *conn)
    .await?;
    sqlx::query(
        "INSERT INTO incompatible_families (one_id, other_id)
         SELECT least($1, other), greatest($1, other) FROM (
             SELECT CASE WHEN one_id = $2 THEN other_id ELSE one_id END AS other
             FROM incompatible_families WHERE one_id = $2 OR other_id = $2) AS others",
    )
    .bind(new)
    .bind(family)
    .execute(&mut *conn)
    .await?;
    set_programme(conn, new, size, segments).await?;
    Ok(new)
}
