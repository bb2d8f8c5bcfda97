//! Counts days as they are marked, so that whoever opens the page seldom waits for it.

use std::time::Duration;

use tokio::sync::broadcast::error::RecvError;

use super::store;
use crate::web::App;

/// Taps come in bunches; what they marked is counted together.
const QUIET: Duration = Duration::from_secs(2);

/// So often it looks without being told: moving to another zone marks days of old as well.
const LOOKS: Duration = Duration::from_secs(30);

/// Counts what is marked, and again whenever something changed at pieces or steps, until the pool
/// is closed. The page itself counts no more than the last days, and says so while older ones are
/// still marked.
pub async fn keep_counted(app: App) {
    let mut changes = app.live.subscribe();
    count(&app).await;
    while !app.pool.is_closed() {
        let Ok(heard) = tokio::time::timeout(LOOKS, changes.recv()).await else {
            count(&app).await;
            continue;
        };
        match heard {
            Ok(topic) if !topic.starts_with("pieces:") && !topic.starts_with("bench_steps:") => {
                continue;
            }
            Ok(_) | Err(RecvError::Lagged(_)) => {}
            Err(RecvError::Closed) => return,
        }
        tokio::time::sleep(QUIET).await;
        // What was announced meanwhile is counted now.
        changes = changes.resubscribe();
        count(&app).await;
    }
}

async fn count(app: &App) {
    if let Err(error) = store::count_all(&app.pool).await {
        tracing::warn!(error.text = %error, "yields could not be counted");
    }
}
