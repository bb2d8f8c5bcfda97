//! Changes as they happen: the database announces them, pages listen.

use std::convert::Infallible;
use std::time::Duration;

use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::{Stream, StreamExt};
use sqlx::PgPool;
use sqlx::postgres::PgListener;
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::RecvError;
use tokio_stream::wrappers::BroadcastStream;

/// Hands each announced change, such as `pieces:1042-3`, to everyone who listens.
#[derive(Clone, Debug)]
pub struct Live(broadcast::Sender<String>);

impl Default for Live {
    fn default() -> Self {
        Self(broadcast::channel(256).0)
    }
}

impl Live {
    /// Listens to the database until the pool is closed; a lost connection is made again.
    pub async fn listen(self, pool: PgPool) {
        while !pool.is_closed() {
            if let Err(error) = self.hand_on(&pool).await {
                tracing::warn!(error.text = %error, "listening for changes was interrupted");
            }
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
    }

    async fn hand_on(&self, pool: &PgPool) -> Result<(), sqlx::Error> {
        let mut listener = PgListener::connect_with(pool).await?;
        listener.listen("changed").await?;
        // Whatever happened while nobody listened is caught up by one reload.
        let _ = self.0.send("all:".to_owned());
        loop {
            let notice = listener.recv().await?;
            let _ = self.0.send(notice.payload().to_owned());
        }
    }

    /// Waits for changes of these topics, again and again.
    #[must_use]
    pub fn watch(&self, topics: &'static [&'static str], pace: Pace) -> Watch {
        Watch { changes: self.subscribe(), topics, pace }
    }

    /// A new listener.
    #[must_use]
    pub fn subscribe(&self) -> broadcast::Receiver<String> {
        self.0.subscribe()
    }
}

/// How often somebody looks who watches.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// Changes come in bunches; those that come meanwhile are looked at together.
    pub quiet: Duration,
    /// Time alone changes things too.
    pub at_least_every: Duration,
}

/// Waits for changes of some topics.
#[derive(Debug)]
pub struct Watch {
    changes: broadcast::Receiver<String>,
    topics: &'static [&'static str],
    pace: Pace,
}

impl Watch {
    /// Waits until something changed or may have been missed, or it is time to look anyway. What
    /// was announced until this returns is not announced again.
    pub async fn next(&mut self) {
        let changed = async {
            loop {
                match self.changes.recv().await {
                    Ok(topic) => {
                        let name = topic.split(':').next().unwrap_or_default();
                        if name == "all" || self.topics.contains(&name) {
                            return;
                        }
                    }
                    Err(RecvError::Lagged(_)) => return,
                    // Nobody announces anything any more: time alone is left.
                    Err(RecvError::Closed) => std::future::pending().await,
                }
            }
        };
        let _ = tokio::time::timeout(self.pace.at_least_every, changed).await;
        tokio::time::sleep(self.pace.quiet).await;
        self.changes = self.changes.resubscribe();
    }
}

/// The changes that `wanted` lets through, as server-sent events.
pub fn stream<W: Fn(&str) -> bool + Send + 'static>(
    live: &Live,
    wanted: W,
) -> Sse<impl Stream<Item = Result<Event, Infallible>> + use<W>> {
    let changes = BroadcastStream::new(live.subscribe()).filter_map(move |change| {
        // A listener that fell behind has missed something: let it look at everything.
        let topic = change.unwrap_or_else(|_| "all:".to_owned());
        let passed = topic.starts_with("all:") || wanted(&topic);
        async move { passed.then(|| Ok(Event::default().data(topic))) }
    });
    Sse::new(changes).keep_alive(KeepAlive::new().interval(Duration::from_secs(20)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_watch_hears_its_topics_and_what_may_have_been_missed() {
        let live = Live::default();
        let hour = Duration::from_secs(3600);
        let mut watch =
            live.watch(&["flasks"], Pace { quiet: Duration::ZERO, at_least_every: hour });
        for (topic, hears) in [("flasks:201", true), ("pieces:1-1", false), ("all:", true)] {
            live.0.send(topic.to_owned()).unwrap();
            let heard = tokio::time::timeout(Duration::from_millis(200), watch.next()).await;
            assert_eq!(heard.is_ok(), hears, "{topic}");
        }
    }
}
