//! Firing programmes as they are kept: to a temperature in so many minutes, or hold.

use foundry::heat::{HeatRefusal, Pace, Programme, Segment};
use foundry::quantity::{Celsius, Minutes};
use serde::{Deserialize, Serialize};
use sqlx::{FromRow, PgConnection};

use crate::id::FamilyId;

/// The size classes of flasks, each with its own programme in a family.
pub const SIZE_CLASSES: [&str; 3] = ["S", "M", "L"];

/// The temperature of workshop and kiln before a firing, °C.
pub(super) const ROOM_C: f64 = 20.0;

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

/// Sets the programme of a family for a size class, in place of the one it had.
pub async fn set_programme(
    conn: &mut PgConnection,
    family: FamilyId,
    size_class: &str,
    segments: &[SegmentRow],
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM programme_segments WHERE family_id = $1 AND size_class = $2")
        .bind(family)
        .bind(size_class)
        .execute(&mut *conn)
        .await?;
    for (n, segment) in (1_i32..).zip(segments) {
        sqlx::query("INSERT INTO programme_segments (family_id, size_class, n, kind, target_c, minutes) VALUES ($1, $2, $3, $4, $5, $6)")
            .bind(family)
            .bind(size_class)
            .bind(n)
            .bind(segment.kind)
            .bind(segment.target_c)
            .bind(segment.minutes)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// How long a programme lasts.
#[must_use]
pub fn total_minutes(segments: &[SegmentRow]) -> i64 {
    segments.iter().map(|segment| i64::from(segment.minutes)).sum()
}

/// The programme as foundry takes it.
///
/// # Errors
/// What foundry refuses in a programme.
pub fn as_run(segments: &[SegmentRow]) -> Result<Programme, HeatRefusal> {
    let mut at = ROOM_C;
    let segments = segments
        .iter()
        .map(|segment| {
            let minutes = Minutes::of(f64::from(segment.minutes));
            let ramp = segment.kind == SegmentKind::Ramp && segment.target_c != at;
            at = segment.target_c;
            if ramp {
                Segment::Ramp { to: Celsius::of(segment.target_c), pace: Pace::Within(minutes) }
            } else {
                Segment::Hold { minutes }
            }
        })
        .collect();
    Programme::new(Celsius::of(ROOM_C), segments)
}
