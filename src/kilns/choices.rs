//! What a firing can be computed for, read from the studio; and a programme saved under a new name.

use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::kiln::KilnFacts;
use super::programme::{SegmentRow, set_programme};
use crate::clock::Moment;
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

/// An investment.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Investment {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) kind: String,
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

/// An alloy and the flask it is cast into.
#[derive(Clone, Debug, FromRow)]
pub(super) struct AlloyRow {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) flask_c: f64,
}

/// All that a programme can be built for.
#[derive(Clone, Debug)]
pub(super) struct Equipment {
    pub(super) flasks: Vec<FlaskType>,
    pub(super) investments: Vec<Investment>,
    pub(super) kilns: Vec<KilnFacts>,
    pub(super) alloys: Vec<AlloyRow>,
}

impl Equipment {
    pub(super) async fn read(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let flasks = sqlx::query_as(
            "SELECT id, name, diameter_mm, height_mm, wall_mm, size_class FROM flask_types
             WHERE retired_at IS NULL ORDER BY diameter_mm, height_mm, name",
        )
        .fetch_all(pool)
        .await?;
        let investments = sqlx::query_as(
            "SELECT id, name, kind, water_per_100 FROM investments WHERE retired_at IS NULL ORDER BY name",
        )
        .fetch_all(pool)
        .await?;
        let alloys = sqlx::query_as(
            "SELECT id, name, flask_c FROM alloys WHERE retired_at IS NULL ORDER BY name",
        )
        .fetch_all(pool)
        .await?;
        Ok(Self { flasks, investments, kilns: KilnFacts::list(pool).await?, alloys })
    }
}

/// Adds a family without programmes.
pub(super) async fn add_family(
    conn: &mut PgConnection,
    family: FamilyId,
    name: &str,
    pattern: &str,
    kind: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES ($1, $2, $3, $4)",
    )
    .bind(family)
    .bind(name)
    .bind(pattern)
    .bind(kind)
    .execute(conn)
    .await?;
    Ok(())
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
            "SELECT id, name, kind, water_per_100 FROM investments WHERE retired_at IS NULL AND kind = $1 ORDER BY name",
        )
        .bind(&family.investment_kind)
        .fetch_all(pool)
        .await?;
        let kilns = KilnFacts::list(pool).await?;
        Ok(Self { family, flasks, investments, kilns })
    }
}

/// The programme that runs, or is to run, in a load, and when it begins.
pub(super) async fn programme_of_load(
    pool: &PgPool,
    number: i32,
) -> Result<(Vec<SegmentRow>, Moment), sqlx::Error> {
    let (programme, starts): (Json<Vec<SegmentRow>>, Moment) = sqlx::query_as(
        "SELECT programme, coalesce(started_at, planned_start_at) FROM kiln_loads WHERE number = $1",
    )
    .bind(number)
    .fetch_one(pool)
    .await?;
    Ok((programme.0, starts))
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
