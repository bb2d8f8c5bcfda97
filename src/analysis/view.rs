//! What is there of analyses, and the alloys they are asked with.

use serde::de::DeserializeOwned;
use sqlx::{PgExecutor, PgPool};

use super::{CastAlloy, FeedCase, FeedFound, LookCase, LookFound, feed, look};
use crate::id::AlloyId;
use crate::jobs::{self, Standing, State};

/// Where an analysis stands.
#[derive(Clone, Debug)]
pub enum Found<T> {
    /// Nobody has asked.
    NotAsked,
    /// It waits for its turn.
    Waiting,
    /// It is being worked on: what is done, and the share of it, 0 to 1.
    Running(String, f32),
    /// It is there.
    There(Box<T>),
    /// It gave nothing, for this reason.
    Failed(String),
    /// Somebody called it off.
    Cancelled,
}

impl<T: DeserializeOwned> Found<T> {
    fn of(standing: Option<Standing>) -> Self {
        let Some(standing) = standing else { return Self::NotAsked };
        match standing.state() {
            State::Waiting => Self::Waiting,
            State::Running => Self::Running(standing.doing, standing.progress),
            State::Cancelled => Self::Cancelled,
            State::Failed => Self::Failed(standing.error.unwrap_or_default()),
            // A result in a shape that is no longer read is as good as none.
            State::Done => standing
                .result
                .and_then(|result| serde_json::from_value(result).ok())
                .map_or(Self::NotAsked, |result| Self::There(Box::new(result))),
        }
    }
}

impl<T> Found<T> {
    /// What was found, if it is there.
    #[must_use]
    pub fn there(&self) -> Option<&T> {
        match self {
            Self::There(found) => Some(found),
            _ => None,
        }
    }

    /// Whether something is still to come.
    #[must_use]
    pub fn open(&self) -> bool {
        matches!(self, Self::Waiting | Self::Running(..))
    }
}

/// The closer look at a model.
pub async fn look_found(
    db: impl PgExecutor<'_>,
    case: &LookCase,
) -> Result<Found<LookFound>, sqlx::Error> {
    Ok(Found::of(jobs::standing(db, look::KIND, &case.key()).await?))
}

/// The freezing of a model.
pub async fn feed_found(
    db: impl PgExecutor<'_>,
    case: &FeedCase,
) -> Result<Found<FeedFound>, sqlx::Error> {
    Ok(Found::of(jobs::standing(db, feed::KIND, &case.key()).await?))
}

/// The alloys the studio casts, by name.
pub async fn alloys(pool: &PgPool) -> Result<Vec<CastAlloy>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, family, solidus_c, liquidus_c, melt_c, flask_c, shrinkage FROM alloys
         WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(pool)
    .await
}

/// An alloy, also one that is no longer cast.
pub async fn alloy_of(
    db: impl PgExecutor<'_>,
    id: AlloyId,
) -> Result<Option<CastAlloy>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, family, solidus_c, liquidus_c, melt_c, flask_c, shrinkage FROM alloys WHERE id = $1",
    )
    .bind(id)
    .fetch_optional(db)
    .await
}

/// The alloy that is ordered most, or the first by name; none in a studio without alloys.
pub async fn usual_alloy(db: impl PgExecutor<'_>) -> Result<Option<CastAlloy>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, family, solidus_c, liquidus_c, melt_c, flask_c, shrinkage FROM alloys a WHERE retired_at IS NULL
         ORDER BY (SELECT count(*) FROM order_lines l WHERE l.alloy_id = a.id) DESC, lower(name), id LIMIT 1",
    )
    .fetch_optional(db)
    .await
}
