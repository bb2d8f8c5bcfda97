//! When loads are held in their kilns as those are known, for many at once.

use std::collections::HashMap;

use sqlx::PgPool;

use super::view::{self, LoadRow, Standing};
use crate::clock::Moment;
use crate::id::FamilyId;
use crate::kilns::{Inside, KilnFacts, Mould, SegmentRow, binder, heat_lines, total_minutes};
use crate::web::Fault;

/// A kiln that takes no longer than this beyond its programme keeps to it, min.
pub(super) const KEEPS_MIN: f64 = 10.0;

/// When a load is to be held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ends {
    /// In its kiln, as far as that is known.
    pub at: Moment,
    /// By its programme.
    pub by_programme: Moment,
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
    let asked: Vec<(Vec<SegmentRow>, Option<Inside>)> = loads
        .iter()
        .map(|load| {
            let flasks = standing.remove(&load.id).unwrap_or_default();
            let facts = facts.iter().find(|facts| facts.name == load.kiln);
            (load.programme.0.clone(), inside(&flasks, kind(load), facts))
        })
        .collect();
    let lines = tokio::task::spawn_blocking(move || heat_lines(&asked))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))?;
    let ends = loads.iter().zip(lines).map(|(load, line)| {
        let by_programme = load.held_by_programme();
        let longer = line.burnout.as_ref().filter(|one| one.waited.get() >= KEEPS_MIN);
        let at = longer.map_or(by_programme, |burnout| {
            let takes = burnout.total.get().round() as i64;
            by_programme.plus_minutes(takes - total_minutes(&load.programme.0))
        });
        (load.number, Ends { at, by_programme })
    });
    Ok(ends.collect())
}

/// What stands in a kiln, for its heat to be computed: the largest flask, and how many there are.
fn inside(flasks: &[Standing], kind: &str, facts: Option<&KilnFacts>) -> Option<Inside> {
    let largest = flasks.iter().max_by_key(|flask| (flask.diameter_mm, flask.height_mm))?;
    let mould = mould(largest, binder(kind).unwrap_or_default());
    let flasks = u32::try_from(flasks.len()).unwrap_or(1);
    Some(Inside { mould, flasks, kiln: facts.map(KilnFacts::powered) })
}

/// A flask, as far as its heat goes.
pub(super) fn mould(flask: &Standing, binder: foundry::heat::Binder) -> Mould {
    Mould {
        inside_mm: f64::from(flask.diameter_mm) - 2.0 * flask.wall_mm,
        height_mm: f64::from(flask.height_mm),
        wall_mm: flask.wall_mm,
        binder,
        water_per_100: flask.water_per_100,
    }
}
