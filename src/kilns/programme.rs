//! Firing programmes as they are kept: to a temperature in so many minutes, or hold.

use serde::{Deserialize, Serialize};
use sqlx::{FromRow, PgConnection};

use crate::id::FamilyId;

/// Whether a segment changes the temperature or keeps it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
#[serde(rename_all = "snake_case")]
pub enum SegmentKind {
    /// To the target.
    Ramp,
    /// At the target.
    Hold,
}

/// One segment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, FromRow)]
pub struct SegmentRow {
    /// Ramp or hold.
    pub kind: SegmentKind,
    /// The temperature at its end.
    pub target_c: f64,
    /// How long it lasts.
    pub minutes: i32,
}

/// The programme of a family for a size class; empty when none is set.
pub async fn programme_of(
    conn: &mut PgConnection,
    family: FamilyId,
    size_class: &str,
) -> Result<Vec<SegmentRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT kind, target_c, minutes FROM programme_segments WHERE family_id = $1 AND size_class = $2 ORDER BY n",
    )
    .bind(family)
    .bind(size_class)
    .fetch_all(conn)
    .await
}

/// How long a programme lasts.
#[must_use]
pub fn total_minutes(segments: &[SegmentRow]) -> i64 {
    segments.iter().map(|segment| i64::from(segment.minutes)).sum()
}
