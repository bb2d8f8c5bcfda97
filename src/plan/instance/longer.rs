//! What kilns take longer for their programmes, as their own firings have shown it.

use foundry::plan::{Clearance, most_on_floor};
use sqlx::PgPool;

use super::view::{self, KilnRow, UsualRow};
use crate::json::plan::LongerJson;
use crate::kilns::{FilledFlask, Inside, KilnFacts, as_many, longer_minutes};
use crate::plan::known::KnownKilns;
use crate::web::Fault;

/// With fewer loads a kiln has no habit yet: it is reckoned as full as its floor.
const LEAST_LOADS: i64 = 5;

/// What every kiln takes longer for every programme when it is as full as usual, in whole minutes;
/// nothing of kilns to which nothing was fitted, and of those that keep to a programme.
///
/// As full as usual is as full as it was at its fullest among its last loads, of the largest
/// flasks of the size class. It does not go by the flasks that wait: then every one more would
/// change what has been agreed.
pub(super) async fn longer(
    pool: &PgPool,
    kilns: &[KilnRow],
    known: &KnownKilns,
    clearance: Clearance,
) -> Result<Vec<LongerJson>, Fault> {
    let fitted: Vec<(&KilnRow, &KilnFacts)> = kilns
        .iter()
        .filter_map(|kiln| Some((kiln, known.facts(&kiln.name).filter(|one| one.is_fitted())?)))
        .collect();
    if fitted.is_empty() {
        return Ok(Vec::new());
    }
    let flasks = view::flask_kinds(pool).await?;
    let usual = view::usual(pool).await?;
    let mut programmes: Vec<_> = known.programmes.iter().collect();
    programmes.sort_unstable_by_key(|one| one.0);
    let (mut longer, mut asked) = (Vec::new(), Vec::new());
    for (kiln, facts) in fitted {
        let usual = usual.iter().find(|one| one.kiln == kiln.name);
        for ((family, size_class), segments) in &programmes {
            let of_class = flasks
                .iter()
                .filter(|flask| flask.family == *family && flask.size_class == *size_class)
                .filter(|flask| low_enough(kiln, clearance, flask.filled.height_mm))
                .map(|flask| flask.filled)
                .filter(|flask| on_floor(kiln, clearance, flask) > 0);
            let Some(flask) = of_class.max_by_key(|flask| (flask.diameter_mm, flask.height_mm))
            else {
                continue;
            };
            let most = on_floor(kiln, clearance, &flask);
            let flasks = usual
                .filter(|usual| usual.loads >= LEAST_LOADS)
                .map_or(most, |usual: &UsualRow| as_many(usual.fullest_mm3, &flask).min(most));
            let alone = known.inside(&facts.name, family, &[flask]);
            asked.push(((*segments).clone(), alone.map(|alone| Inside { flasks, ..alone })));
            longer.push(LongerJson {
                kiln: kiln.name.clone(),
                family: family.clone(),
                size_class: size_class.clone(),
                minutes: 0,
            });
        }
    }
    let minutes = tokio::task::spawn_blocking(move || longer_minutes(&asked))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))?;
    for (one, minutes) in longer.iter_mut().zip(minutes) {
        one.minutes = minutes;
    }
    longer.retain(|one| one.minutes > 0);
    Ok(longer)
}

fn low_enough(kiln: &KilnRow, clearance: Clearance, height_mm: i32) -> bool {
    f64::from(height_mm) + clearance.top_mm <= f64::from(kiln.height_mm)
}

/// At most so many flasks like one stand on a kiln's floor.
fn on_floor(kiln: &KilnRow, clearance: Clearance, flask: &FilledFlask) -> u32 {
    let floor = (f64::from(kiln.width_mm), f64::from(kiln.depth_mm));
    let most = most_on_floor(floor.0, floor.1, clearance, f64::from(flask.diameter_mm));
    u32::try_from(most).unwrap_or(u32::MAX).min(1000)
}
