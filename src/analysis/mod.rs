//! What a model file tells about its casting: walls, gaps, bore, freezing, feed, filling.
//!
//! Walls and freezing take seconds to minutes and are jobs, known by what goes into them: the
//! file's content, its unit and the numbers asked with. Filling is a formula and is worked out
//! where it is shown.

mod alloy;
mod casting;
mod feed;
mod filling;
mod look;
mod paint;
mod surface;
mod view;

pub use alloy::CastAlloy;
pub use casting::{Casting, Method};
pub use feed::{FeedCase, FeedFound, RodJson, Stage};
pub use filling::{Filling, filling};
pub use look::{LookCase, LookFound};
pub use paint::{Scale, Tone};
pub use surface::ModelOf;
pub use view::{Found, alloy_of, alloys, feed_found, look_found, usual_alloy};

use sqlx::PgConnection;

use crate::clock::Moment;
use crate::jobs;

/// The kinds of jobs that this capability does.
#[must_use]
pub fn kinds() -> Vec<jobs::Kind> {
    vec![
        jobs::Kind {
            name: look::KIND,
            handler: |app, input, watch| Box::pin(look::run(app, input, watch)),
        },
        jobs::Kind {
            name: feed::KIND,
            handler: |app, input, watch| Box::pin(feed::run(app, input, watch)),
        },
    ]
}

/// Asks for the walls of a model; first of all jobs, for it is soon done.
pub async fn ask_look(
    conn: &mut PgConnection,
    case: &LookCase,
    now: Moment,
) -> Result<(), crate::web::Fault> {
    let input = serde_json::to_value(case)?;
    Ok(jobs::ask(conn, look::KIND, &case.key(), &input, 0, now).await?)
}

/// Asks for a model's freezing: a first answer, then what would do, then a finer answer.
pub async fn ask_feed(
    conn: &mut PgConnection,
    case: &FeedCase,
    now: Moment,
) -> Result<(), crate::web::Fault> {
    for (stage, rank) in [(Stage::First, 1), (Stage::Advice, 3), (Stage::Fine, 4)] {
        let case = case.at(stage);
        let input = serde_json::to_value(&case)?;
        jobs::ask(conn, feed::KIND, &case.key(), &input, rank, now).await?;
    }
    Ok(())
}

/// Calls off what is not finished of both.
pub async fn cancel(
    conn: &mut PgConnection,
    look: &LookCase,
    feed: Option<&FeedCase>,
    now: Moment,
) -> Result<(), sqlx::Error> {
    jobs::cancel(conn, look::KIND, &look.key(), now).await?;
    if let Some(feed) = feed {
        for stage in [Stage::First, Stage::Advice, Stage::Fine] {
            jobs::cancel(conn, feed::KIND, &feed.at(stage).key(), now).await?;
        }
    }
    Ok(())
}
