//! What a handler may reach.

use std::sync::Arc;

use sqlx::PgPool;

use crate::clock::Clock;
use crate::vault::Vault;
use crate::web::Live;

/// Shared by all requests; cheap to clone.
#[derive(Clone, Debug)]
pub struct App {
    /// Connections to the database.
    pub pool: PgPool,
    /// Tells the time.
    pub clock: Clock,
    /// Changes as they happen.
    pub live: Live,
    /// Signs private links; lives in the database, so that all copies agree.
    pub link_secret: Arc<[u8]>,
    /// Seals what must not lie open in the database.
    pub vault: Vault,
    /// The largest model file that is taken, in bytes.
    pub largest_model: usize,
    /// Whether cookies are sent over TLS only.
    pub secure_cookies: bool,
}
