//! What there is about the known shapes.

use sqlx::PgPool;

use super::bench::{self, Judged};
use super::shapes::{ALL, Known};
use crate::jobs::{self, Standing, State};

/// A shape and where its job stands.
pub(super) struct Shown {
    pub(super) known: &'static Known,
    pub(super) judged: Option<Judged>,
    standing: Option<Standing>,
}

impl Shown {
    /// Whether something is still to come.
    pub(super) fn open(&self) -> bool {
        self.standing.as_ref().is_some_and(Standing::open)
    }

    /// What is being done, or why there is nothing.
    pub(super) fn words(&self) -> String {
        match &self.standing {
            None => "not worked out yet".to_owned(),
            Some(standing) => match standing.state() {
                State::Waiting => "waits for its turn".to_owned(),
                State::Running => standing.doing.clone(),
                State::Done => String::new(),
                State::Cancelled => "called off".to_owned(),
                State::Failed => standing.error.clone().unwrap_or_default(),
            },
        }
    }
}

/// All shapes with what there is about them.
pub(super) async fn all(pool: &PgPool) -> Result<Vec<Shown>, sqlx::Error> {
    let mut shown = Vec::new();
    for known in ALL {
        let standing = jobs::standing(pool, bench::KIND, &bench::key(known.slug)).await?;
        let judged = standing
            .as_ref()
            .and_then(|standing| standing.result.clone())
            .and_then(|result| serde_json::from_value(result).ok());
        shown.push(Shown { known, judged, standing });
    }
    Ok(shown)
}
