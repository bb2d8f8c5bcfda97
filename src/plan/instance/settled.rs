//! What is settled before planning, in the written form of a problem.

use std::collections::HashMap;

use foundry::plan::MOST_MINUTES;
use sqlx::PgPool;

use super::view::{self, FlaskRow, UnderWayRow};
use super::written::within;
use super::{Grid, MOST_DAYS};
use crate::clock::Moment;
use crate::id::KilnLoadId;
use crate::json::plan::{OutOfUseJson, PinJson, PouredJson, UnderWayJson};
use crate::plan::words;

/// Pins that can be kept, and those that lie in the past or out of sight, in words.
pub(super) async fn pins(
    pool: &PgPool,
    flasks: &[FlaskRow],
    grid: &Grid,
    now_min: i64,
) -> Result<(Vec<PinJson>, Vec<String>), sqlx::Error> {
    let (mut pins, mut passed) = (Vec::new(), Vec::new());
    for (flask, kiln, at) in view::pins(pool).await? {
        let start_min = grid.minute(at);
        if flasks.iter().all(|known| known.number != flask) {
            continue;
        }
        let why = if start_min < now_min {
            "which has passed"
        } else if start_min > now_min + MOST_DAYS * 1440 {
            "which is further ahead than plans reach"
        } else {
            pins.push(PinJson::Load { flask: flask.to_string(), kiln, start_min });
            continue;
        };
        passed.push(format!(
            "Flask {flask} was pinned to {kiln} for {}, {why}: it is planned freely.",
            words::at(start_min, grid)
        ));
    }
    Ok((pins, passed))
}

pub(super) async fn under_way_json(
    pool: &PgPool,
    loads: &[UnderWayRow],
    flasks: &[FlaskRow],
    starts: &HashMap<KilnLoadId, i64>,
    grid: &Grid,
) -> Result<Vec<UnderWayJson>, sqlx::Error> {
    let poured = view::poured(pool).await?;
    Ok(loads
        .iter()
        .filter_map(|load| {
            let members: Vec<i32> = flasks
                .iter()
                .filter(|flask| flask.load == Some(load.id))
                .map(|flask| flask.number)
                .collect();
            let poured = poured
                .iter()
                .filter(|(flask, _)| members.contains(flask))
                .map(|(flask, at)| PouredJson {
                    flask: flask.to_string(),
                    start_min: grid.minute(*at),
                })
                .collect();
            (!members.is_empty()).then(|| UnderWayJson {
                kiln: load.kiln.clone(),
                start_min: starts.get(&load.id).copied().unwrap_or_default(),
                flasks: members.iter().map(ToString::to_string).collect(),
                poured,
            })
        })
        .collect())
}

pub(super) async fn outages(
    pool: &PgPool,
    grid: &Grid,
    now: Moment,
) -> Result<Vec<OutOfUseJson>, sqlx::Error> {
    let rows = view::outages(pool, now).await?;
    Ok(rows
        .into_iter()
        .map(|(kiln, from, to)| {
            let from_min = within(grid.minute(from)).min(MOST_MINUTES - 1);
            OutOfUseJson { kiln, from_min, to_min: within(grid.minute(to)).max(from_min + 1) }
        })
        .collect())
}
