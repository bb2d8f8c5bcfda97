//! Counts days as they are marked, so that whoever opens the page seldom waits for it.

use std::time::Duration;

use super::store;
use crate::web::{App, Pace};

/// Taps come in bunches; moving to another zone marks days of old without a word.
const PACE: Pace = Pace { quiet: Duration::from_secs(2), at_least_every: Duration::from_secs(30) };

/// Counts what is marked, and again whenever something changed at pieces or steps, until the pool
/// is closed. The page itself counts no more than the last days, and says so while older ones are
/// still marked.
pub async fn keep_counted(app: App) {
    let mut changes = app.live.watch(&["pieces", "bench_steps"], PACE);
    while !app.pool.is_closed() {
        count(&app).await;
        changes.next().await;
    }
}

async fn count(app: &App) {
    if let Err(error) = store::count_all(&app.pool).await {
        tracing::warn!(error.text = %error, "yields could not be counted");
    }
}
