//! Changes as they happen: the database announces them, pages listen.

use std::convert::Infallible;
use std::time::Duration;

use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::{Stream, StreamExt};
use sqlx::PgPool;
use sqlx::postgres::PgListener;
use tokio::sync::broadcast;
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

    /// A new listener.
    #[must_use]
    pub fn subscribe(&self) -> broadcast::Receiver<String> {
        self.0.subscribe()
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
