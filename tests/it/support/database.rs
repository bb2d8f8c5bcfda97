//! A database of its own for each test.

use std::time::Duration;

use pourday::db;
use sqlx::PgPool;
use sqlx::postgres::PgPoolOptions;

use super::cluster::cluster;

/// A fresh database with the program's tables, dropped with this value.
pub(crate) struct TestDatabase {
    /// Connections to it, with the program's own limits on statements and locks. Waiting for
    /// one is limited more loosely, so that a machine with other work fails no test.
    pub(crate) pool: PgPool,
    /// Its address, for programs started by a test.
    pub(crate) url: String,
    name: String,
}

impl TestDatabase {
    /// A database with all migrations applied.
    pub(crate) async fn new() -> Self {
        Self::open(cluster().make().await).await
    }

    /// A database without any table.
    pub(crate) async fn empty() -> Self {
        Self::open(cluster().make_empty().await).await
    }

    /// Its name on the server.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    async fn open(name: String) -> Self {
        let url = cluster().address().url(&name);
        let connected = db::connect(db::Source::Url(url.clone())).await.unwrap().pool;
        let options = (*connected.connect_options()).clone();
        let pool = PgPoolOptions::new()
            .max_connections(8)
            .acquire_timeout(Duration::from_secs(60))
            .connect_lazy_with(options);
        Self { pool, url, name }
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        cluster().drop_database(std::mem::take(&mut self.name));
    }
}
