//! What a feed holds.

use sqlx::PgPool;

use super::text::{Event, When};
use super::view;
use crate::clock::Moment;
use crate::kiln_loads::ends_of;
use crate::studio::Settings;
use crate::web::Fault;

/// How far back a feed reaches, in days.
const BACK: i64 = 14;

/// The studio's name and everything in its calendar.
pub(super) async fn events(pool: &PgPool, now: Moment) -> Result<(String, Vec<Event>), Fault> {
    let settings = Settings::load(pool).await?;
    let loads = view::loads(pool, now.plus_minutes(-BACK * 1440)).await?;
    let numbers: Vec<i32> = loads.iter().map(|load| load.number).collect();
    let ends = ends_of(pool, &numbers).await?;
    let due = view::due(pool).await?;
    let pour = i64::from(settings.pour_min);
    let mut events = Vec::new();
    for load in loads {
        let held = ends.get(&load.number).map_or(load.held, |ends| ends.at);
        let flasks = load.flasks.join("\n");
        events.push(Event {
            uid: format!("load-{}@pourday", load.id),
            when: When::From(load.starts, held),
            summary: format!("Load {} burns out, {}", load.number, load.family),
            description: flasks.clone(),
            location: load.kiln.clone(),
        });
        if let (Some(first), Some(last)) = (load.first_pour, load.last_pour) {
            let count = load.flasks.len();
            let plural = if count == 1 { "flask" } else { "flasks" };
            events.push(Event {
                uid: format!("pours-{}@pourday", load.id),
                when: When::From(first, last.plus_minutes(pour)),
                summary: format!("Pour {count} {plural} of load {}", load.number),
                description: flasks,
                location: settings.furnace_name.clone(),
            });
        }
    }
    for order in due {
        events.push(Event {
            uid: format!("due-{}@pourday", order.id),
            when: When::On(order.due_on),
            summary: format!("Due: {} {}", order.number, order.title),
            description: order.client,
            location: String::new(),
        });
    }
    Ok((settings.name, events))
}
