//! When loads are held in their kilns as those are known, for many at once.

use std::collections::HashMap;

use sqlx::PgPool;

use super::view::{self, LoadRow};
use crate::clock::Moment;
use crate::id::FamilyId;
use crate::kilns::{FilledFlask, Inside, KilnFacts, SegmentRow, Slow, heat_lines, inside};
use crate::web::Fault;

/// When a load is to be held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ends {
    /// In its kiln, as far as that is known.
    pub at: Moment,
    /// By its programme.
    pub by_programme: Moment,
    /// Why that is later than by its programme.
    pub slow: Option<Slow>,
}

/// When those of some loads, by their numbers, that are planned or burning are to be held.
pub async fn ends_of(pool: &PgPool, numbers: &[i32]) -> Result<HashMap<i32, Ends>, Fault> {
    let loads = view::not_held(pool, numbers).await?;
    let ids: Vec<_> = loads.iter().map(|load| load.id).collect();
    let mut standing = view::standing_in_each(pool, &ids).await?;
    let facts = KilnFacts::list(pool).await?;
    let kinds: HashMap<FamilyId, String> =
        sqlx::query_as("SELECT id, investment_kind FROM burnout_families")
            .fetch_all(pool)
            .await?
            .into_iter()
            .collect();
    let kind = |load: &LoadRow| kinds.get(&load.family_id).map_or("", String::as_str);
    let of = |load: &LoadRow| facts.iter().find(|facts| facts.name == load.kiln);
    let asked: Vec<(Vec<SegmentRow>, Option<Inside>)> = loads
        .iter()
        .map(|load| {
            let flasks = standing.remove(&load.id).unwrap_or_default();
            let flasks: Vec<FilledFlask> = flasks.iter().map(|flask| flask.filled).collect();
            (load.programme.0.clone(), inside(&flasks, kind(load), of(load)))
        })
        .collect();
    let lines = tokio::task::spawn_blocking(move || heat_lines(&asked))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))?;
    let ends = loads.iter().zip(lines).map(|(load, line)| {
        let by_programme = load.held_by_programme();
        let slow = Slow::of(of(load), &line);
        let at = by_programme.plus_minutes(slow.as_ref().map_or(0, |slow| slow.minutes));
        (load.number, Ends { at, by_programme, slow })
    });
    Ok(ends.collect())
}
